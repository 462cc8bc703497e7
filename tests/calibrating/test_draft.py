"""Answers survive; a damaged draft does not stop anybody."""

from __future__ import annotations

from pathlib import Path

import pytest

from flowlog.calibrating.draft import FILE, Draft, DraftError


def test_every_answer_is_on_the_disk_at_once_and_in_order(tmp_path: Path) -> None:
    draft = Draft.open(tmp_path / "rig")
    draft.put("course.length", "150 ft")
    draft.put("course.run 1", "21 s")
    draft.put("meter.count 1.1", {"pulses": 2002, "seconds": 40.5})
    again = Draft.open(tmp_path / "rig")
    assert again.keys() == ["course.length", "course.run 1", "meter.count 1.1"]
    assert again.get("meter.count 1.1") == {"pulses": 2002, "seconds": 40.5}
    assert again.began_us == draft.began_us


def test_going_back_forgets_what_came_after_in_the_same_step(tmp_path: Path) -> None:
    draft = Draft.open(tmp_path)
    for key in ("course.a", "course.b", "course.c", "catch.a"):
        draft.put(key, "x")
    draft.drop("course.b")
    assert Draft.open(tmp_path).keys() == ["course.a", "catch.a"]


@pytest.mark.parametrize("text", ["", "{", "[]", '{"began_us": 1}', '{"answers 1": 3}', "\x00"])
def test_a_damaged_draft_is_set_aside(tmp_path: Path, text: str) -> None:
    (tmp_path / FILE).write_text(text)
    draft = Draft.open(tmp_path)
    assert draft.damaged
    assert len(draft) == 0
    assert not (tmp_path / FILE).exists()
    assert list(tmp_path.iterdir())


def test_a_folder_that_cannot_be_written_is_named(tmp_path: Path) -> None:
    (tmp_path / "rig").write_text("a file where the folder should be")
    with pytest.raises(DraftError, match="cannot be written"):
        Draft(tmp_path / "rig").put("course.length", "150 ft")


def test_a_deleted_draft_is_gone(tmp_path: Path) -> None:
    draft = Draft.open(tmp_path)
    draft.put("course.length", "150 ft")
    draft.delete()
    assert len(Draft.open(tmp_path)) == 0
