"""Finding the line of a key through every way in which TOML can write it."""

from __future__ import annotations

import pytest

from flowlog.rig.faults import KeyPath, line_of, written

TEXT = '''\
# comment = 1
[boom]
tips = 8
"quoted key" = 1
work.rate = 2
inline = { a = 1, b = { c = 2 } }
long = """
first
last"""
[[list]]
x = 1
[[list]]
x = 2
array = [
  1,
  2,
]
[deep.er]
y = 1
'''


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("boom",), 2),
        (("boom", "tips"), 3),
        (("boom", "quoted key"), 4),
        (("boom", "work", "rate"), 5),
        (("boom", "inline", "b", "c"), 6),
        (("boom", "long"), 9),
        (("list", 0, "x"), 11),
        (("list", 1, "x"), 13),
        (("list", 1, "array", 1), 17),
        (("deep", "er"), 18),
        (("deep", "er", "y"), 19),
        (("boom", "none"), None),
        (("comment",), None),
    ],
)
def test_a_key_is_found_where_its_value_ends(path: KeyPath, line: int | None) -> None:
    assert line_of(TEXT, path) == line


def test_a_path_is_written_with_points_and_places_from_one() -> None:
    assert written(("meter", "curve", 1)) == "meter.curve[2]"
