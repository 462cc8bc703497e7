"""The guided session: wrong answers, going back, leaving and going on, storing only after a yes."""

from __future__ import annotations

from pathlib import Path

import pytest
from support.scripted_talk import Answer, ScriptedTalk

from flowlog.calibrating.draft import Draft
from flowlog.calibrating.feed import Feed, FeedError
from flowlog.calibrating.interview import Interview, Left
from flowlog.calibrating.inuse import InUse
from flowlog.calibrating.session import STEPS, offer_draft, run_session
from flowlog.calibrating.work import Work
from flowlog.calibration.catch import CatchResult
from flowlog.calibration.course import CourseResult
from flowlog.calibration.gauge import GaugeResult
from flowlog.calibration.meter import MeterResult
from flowlog.rig.model import Board, Boom, Gauge, Meter, Rig, Tip
from flowlog.rig.model import Work as Job
from flowlog.store.rows import CalibrationRow

PSI = 6894.757293168361
GAL_MIN = 0.003785411784 / 60
RIG = Rig(
    "Four tips",
    Boom(4, 0.508, Tip(1.43 * GAL_MIN, 40 * PSI), 30 * PSI, 40 * PSI),
    Job(2 * 0.003785411784 / 92.90304, 4.87 * 0.44704),
    Meter(450e3, 2 / 60e3, 60 / 60e3),
    Gauge(100 * PSI),
    Board("/dev/null"),
)


def no_board() -> Feed:
    raise FeedError("/dev/null: no sample for 5 s")


def session(
    folder: Path, steps: tuple[str, ...], answers: list[Answer], *, resumed: bool = False
) -> tuple[list[CalibrationRow] | None, ScriptedTalk, Work]:
    """Rows to store, or None where the person left."""
    talk = ScriptedTalk(answers)
    draft = Draft.open(folder)
    if resumed:
        assert offer_draft(talk, draft)
    work = Work(Interview(talk, draft, "us"), RIG, InUse(RIG), "us", no_board)
    try:
        rows = run_session(work, steps, "Ann", "login", resumed=resumed)
    except Left:
        return None, talk, work
    return rows, talk, work


COURSE: list[Answer] = ["", "21.0", "21.2", ""]


def test_the_worked_example_of_four_tips_comes_out(tmp_path: Path) -> None:
    # A boom of 4 tips at 20 in, 150 ft in 21 s, 64 fl oz a tip (common practice, no source).
    answers: list[Answer] = [
        "", "", "", "21", "21", "",
        "", "40 psi", "21", "64", "64", "64", "64", "",
        "no", "no", "no", "no", "yes",
    ]  # fmt: skip
    rows, _, work = session(tmp_path, STEPS, answers)
    assert rows is not None
    assert [row.kind for row in rows] == ["course", "catch"]
    course, caught = work.results["course"], work.results["catch"]
    assert isinstance(course, CourseResult)
    assert isinstance(caught, CatchResult)
    assert course.speed_m_s / 0.44704 == pytest.approx(4.87, abs=0.005)
    assert caught.rate_m3_m2 is not None
    assert caught.rate_m3_m2 / (0.003785411784 / 92.90304) == pytest.approx(2.00, abs=0.005)
    assert all(tip.verdict == "fine" for tip in caught.tips)


def test_wrong_answers_get_a_plain_remark_and_another_try(tmp_path: Path) -> None:
    wrong_lengths = ["abc", "-3", "0", "40 psi", "1500"]
    wrong_times = ["abc", "-21", "0", "21 gal", "210"]
    answers: list[Answer] = [
        *wrong_lengths, "150 ft", *wrong_times, "21.0", "21.2", "what", "yes", "perhaps", "yes"
    ]  # fmt: skip
    rows, talk, _ = session(tmp_path, ("course",), answers)
    assert rows is not None
    for answer in (*wrong_lengths, *wrong_times, "what", "perhaps"):
        said = talk.after(answer)
        assert said.strip(), answer
        assert "Error" not in said
        assert "Traceback" not in said
    assert "ten times" in talk.after("1500")


def test_tips_ten_times_too_full_are_doubted_and_taken_when_written_twice(tmp_path: Path) -> None:
    answers: list[Answer] = [
        "", "4 bar", "40 psi", "abc", "0", "-1", "21 s",
        "640", "64", "xyz", "-5", "64 psi", "64", "6.4", "6.4", "none", "0", "", "", "yes",
    ]  # fmt: skip
    rows, talk, work = session(tmp_path, ("catch",), answers)
    assert "ten times" in talk.after("640")
    assert "tenth" in talk.text
    assert rows is not None
    result = work.results["catch"]
    assert isinstance(result, CatchResult)
    assert [tip.verdict for tip in result.tips] == [
        "fine", "fine", "clean and recheck", "not caught"
    ]  # fmt: skip


def test_a_tip_is_cleaned_and_caught_again(tmp_path: Path) -> None:
    answers: list[Answer] = [
        "", "40 psi", "21", "64", "55", "64", "64", "9", "2", "63.5", "yes", "yes"
    ]  # fmt: skip
    rows, talk, work = session(tmp_path, ("catch",), answers)
    assert rows is not None
    result = work.results["catch"]
    assert isinstance(result, CatchResult)
    assert result.named() == ()
    assert result.tips[1].catches == 1
    assert "CLEAN" in talk.text


def test_back_asks_the_question_before_again(tmp_path: Path) -> None:
    answers: list[Answer] = ["", "21.0", "back", "22.0", "22.2", "", "yes"]
    rows, _, work = session(tmp_path, ("course",), answers)
    assert rows is not None
    result = work.results["course"]
    assert isinstance(result, CourseResult)
    assert result.seconds == (22.0, 22.2)


def test_a_third_run_is_asked_for_when_two_disagree(tmp_path: Path) -> None:
    rows, talk, work = session(tmp_path, ("course",), ["", "21.0", "22.5", "21.6", "yes", "yes"])
    assert "drive a third" in talk.text
    assert rows is not None
    result = work.results["course"]
    assert isinstance(result, CourseResult)
    assert len(result.seconds) == 3


@pytest.mark.parametrize("left_after", range(1, 14))
def test_left_anywhere_and_gone_on_with_gives_the_same(tmp_path: Path, left_after: int) -> None:
    answers: list[Answer] = [
        "", "40 psi", "21", "64", "55", "64", "64", "2", "63.5", "", "yes"
    ]  # fmt: skip
    rows, _, whole = session(tmp_path / "whole", ("catch",), list(answers))
    assert rows is not None
    rows, _, _ = session(tmp_path / "cut", ("catch",), answers[:left_after])
    if rows is not None:
        return
    rows, talk, again = session(
        tmp_path / "cut", ("catch",), ["yes", *answers[left_after:]], resumed=True
    )
    assert rows is not None, talk.text
    assert again.results == whole.results


def test_nothing_is_stored_without_a_yes_and_the_draft_stays(tmp_path: Path) -> None:
    rows, talk, _ = session(tmp_path, ("course",), [*COURSE, "no"])
    assert rows == []
    assert "Nothing was stored" in talk.text
    assert len(Draft.open(tmp_path)) > 0


def test_a_result_that_is_not_wanted_is_left_out(tmp_path: Path) -> None:
    rows, _, _ = session(tmp_path, ("course",), ["", "21", "21.2", "no"])
    assert rows == []


def test_again_repeats_a_step(tmp_path: Path) -> None:
    answers: list[Answer] = ["", "21.0", "21.2", "again", "", "30.0", "30.2", "yes", "yes"]
    rows, _, work = session(tmp_path, ("course",), answers)
    assert rows is not None
    result = work.results["course"]
    assert isinstance(result, CourseResult)
    assert result.seconds == (30.0, 30.2)


def test_without_a_board_the_numbers_are_typed(tmp_path: Path) -> None:
    answers: list[Answer] = [
        "18 C", "live", "", "abc", "7", "1",
        "x", "-4", "8517", "0", "95", "abc", "-1", "40 psi", "417 lb", "41.7 lb",
        "8520", "95.2", "41.8", "8499", "95", "41.7", "yes", "yes",
    ]  # fmt: skip
    rows, talk, work = session(tmp_path, ("meter",), answers)
    assert "no sample" in talk.text
    assert "tenth" in talk.after("417 lb") or "ten times" in talk.after("417 lb")
    assert rows is not None
    result = work.results["meter"]
    assert isinstance(result, MeterResult)
    assert rows[0].evidence["noted"]["source"] == "typed"
    assert rows[0].evidence["noted"]["water_c"] == 18.0


def test_the_gauge_by_typed_codes(tmp_path: Path) -> None:
    answers: list[Answer] = [
        "type", "abc", "-1", "5000", "12", "114.7", "280.1", "x", "-20", "200 psi", "20 psi",
        "445.5", "40", "610.9", "60", "maybe", "done", "yes", "yes",
    ]  # fmt: skip
    rows, talk, work = session(tmp_path, ("gauge",), answers)
    assert "wire open or short" in talk.after("12")
    assert rows is not None
    result = work.results["gauge"]
    assert isinstance(result, GaugeResult)
    assert result.zero_error_pa / PSI == pytest.approx(1.5, abs=0.05)


def test_cautions_come_with_the_work_that_needs_them(tmp_path: Path) -> None:
    _, course, _ = session(tmp_path / "a", ("course",), [""])
    _, caught, _ = session(tmp_path / "b", ("catch",), [""])
    _, gauge, _ = session(tmp_path / "c", ("gauge",), [])
    assert "CAUTION" not in course.text
    assert "clean water only" in caught.text
    assert "pressure off" in gauge.text


def test_no_line_is_wider_than_the_screen(tmp_path: Path) -> None:
    answers: list[Answer] = [
        "", "", "", "21", "21", "",
        "", "40 psi", "21", "64", "72", "40", "none", "", "",
        "", "type", "1", "8517", "95", "41.7 lb", "8520", "95", "41.8", "8499", "95", "41.7", "",
        "", "type", "114.7", "280.1", "20 psi", "445.5", "40", "610.9", "60", "", "",
        "no", "no", "yes",
    ]  # fmt: skip
    rows, talk, _ = session(tmp_path, STEPS, answers)
    assert rows is not None, talk.text
    for shown in talk.screen:
        if not shown.startswith("  "):
            assert max(map(len, shown.split("\n"))) <= 90, shown
