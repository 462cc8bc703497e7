"""The example rig file is also the manual: it must know every key, and only known keys."""

from __future__ import annotations

import re
import stat
from pathlib import Path

import pytest

from flowlog.rig import reader
from flowlog.rig.faults import RigFileError
from flowlog.rig.reader import parse_rig, read_rig
from flowlog.rig.table import Table
from flowlog.rig.template import template_text, write_template

KEY = re.compile(r"^(?:# )?([a-z_0-9]+) = ", re.MULTILINE)
HEADER = re.compile(r"^(?:# )?\[([a-z]+)\]", re.MULTILINE)


def keys_in(text: str) -> set[str]:
    """Every `table.key` of a rig file, those in comments too."""
    found, table = set(), ""
    for line in text.splitlines():
        if header := HEADER.match(line):
            table = header[1]
        elif key := KEY.match(line):
            found.add(f"{table}.{key[1]}")
    return found


def uncommented(text: str) -> str:
    """The example with all its optional keys switched on (the curve and ca file stay off)."""
    lines = []
    for line in text.splitlines():
        optional = re.match(r"# (\[[a-z]+\]|[a-z_0-9]+ = .*)", line)
        keep = optional and not optional[1].startswith(("curve", "ca_file"))
        lines.append(line[2:] if keep else line)
    return "\n".join(lines)


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> set[str]:
    """Fills with each `table.key` that the reader asks for."""
    keys: set[str] = set()
    original = Table._get

    def watch(self: Table, key: str, example: str, *, required: bool) -> object:
        keys.add(f"{self.path[0]}.{key}")
        return original(self, key, example, required=required)

    monkeypatch.setattr(Table, "_get", watch)
    return keys


def test_the_example_is_a_rig() -> None:
    assert parse_rig(template_text(), Path("rig.toml"), {}).boom.tips == 8


def test_the_example_is_a_rig_with_its_options_switched_on() -> None:
    rig = parse_rig(uncommented(template_text()), Path("rig.toml"), {})
    assert rig.wheel is not None
    assert rig.broker is not None
    assert rig.data_folder == "/srv/flowlog/north"


def test_the_commented_thresholds_are_the_defaults() -> None:
    plain = parse_rig(template_text(), Path("rig.toml"), {})
    switched_on = parse_rig(uncommented(template_text()), Path("rig.toml"), {})
    assert switched_on.thresholds == plain.thresholds


def test_the_example_and_the_reader_know_the_same_keys(asked: set[str]) -> None:
    parse_rig(uncommented(template_text()), Path("rig.toml"), {})
    assert keys_in(template_text()) == asked


def test_the_example_shows_every_table() -> None:
    assert HEADER.findall(template_text()) == list(reader.TABLES)


def test_the_example_says_what_keeps_people_safe() -> None:
    text = template_text()
    for words in ("label is the law", "clean water only", "gloves", "pressure released"):
        assert words in text


def test_a_new_file_can_be_read_by_its_owner_alone(tmp_path: Path) -> None:
    path = tmp_path / "rig.toml"
    write_template(path)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert read_rig(path, {}).name == "North cart"


def test_an_existing_file_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "rig.toml"
    path.write_text("mine")
    with pytest.raises(RigFileError) as caught:
        write_template(path)
    assert str(caught.value) == f"{path}: is there already and is left as it is (give a new name)"
    assert path.read_text() == "mine"


def test_a_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    path = tmp_path / "none" / "rig.toml"
    with pytest.raises(RigFileError) as caught:
        write_template(path)
    assert str(caught.value) == f"{path}: cannot be written: No such file or directory"
