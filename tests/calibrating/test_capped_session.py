"""The guided capped-tip check: its cautions, its order, and what a wrong spraying is told."""

from __future__ import annotations

import dataclasses
import itertools
import math
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest
from support.capped_check import A_B_A, check_of, checked, rig_of, true_share
from support.scripted_calibration import WORN_SHARE, ItemFeed, calibrate, scenario
from support.scripted_talk import Answer, ScriptedTalk

from flowlog.calibrating import ask_capped
from flowlog.calibrating.draft import Draft
from flowlog.calibrating.feed import FeedError
from flowlog.calibrating.interview import Interview, Left
from flowlog.calibrating.inuse import InUse
from flowlog.calibrating.measure import MeasureError
from flowlog.calibrating.session import offer_draft, run_session
from flowlog.calibrating.sprayings import spray_once, sprayings_from
from flowlog.calibrating.work import Work
from flowlog.calibration.capped import CappedResult
from flowlog.calibration.faults import CalibrationError
from flowlog.link.recording import RecordingWriter
from flowlog.physics.network import operating_point
from flowlog.rig.model import Rig
from flowlog.simulator.plan import Fault, Leg
from flowlog.simulator.run import scenario_for, simulate
from flowlog.simulator.supply import sized_supply
from flowlog.store.rows import CalibrationRow
from flowlog.wire.encode import encode_hello, encode_sample
from flowlog.wire.records import Hello
from flowlog.wire.samples import Samples

RIG = rig_of(8)
FAMILY = "centrifugal"


def one_spraying(
    *, capped: bool, seed: int = 1, seconds: float = 40.0, lead: float = 4.0, rig: Rig = RIG
) -> list[Samples | Hello]:
    """What the board sends while the boom is opened once, from a little before."""
    cap = [Fault("tip blocked", 0.0, 1.0, tip=3)] if capped else []
    legs = [Leg(lead, False)] if lead else []
    legs += [Leg(seconds, True), Leg(6.0, False)]
    return simulate(
        scenario_for(rig, legs=legs, faults=cap, family=FAMILY, seed=seed, noise="quiet")
    ).items


class SprayFeed:
    """One spraying for each time that somebody waits for one."""

    def __init__(self, sprayings: Sequence[list[Samples | Hello]]) -> None:
        self._sprayings = list(sprayings)
        self._now: list[Samples | Hello] = []
        self.name = "simulated"

    @property
    def ended(self) -> bool:
        return not self._now

    def take(self) -> list[Samples | Hello]:
        items, self._now = self._now, []
        return items

    def fresh(self) -> None:
        if not self._sprayings:
            raise FeedError("simulated: nothing more")
        self._now = self._sprayings.pop(0)

    def close(self) -> None:
        """Nothing to let go of."""


def session(
    folder: Path,
    sprayings: Sequence[list[Samples | Hello]],
    answers: list[Answer],
    *,
    resumed: bool = False,
    rig: Rig = RIG,
) -> tuple[list[CalibrationRow] | None, ScriptedTalk, Work]:
    talk = ScriptedTalk(answers)
    draft = Draft.open(folder)
    if resumed:
        assert offer_draft(talk, draft)
    feed = SprayFeed(sprayings)
    work = Work(Interview(talk, draft, "us"), rig, InUse(rig), "us", lambda: feed)
    try:
        rows = run_session(work, ("capped",), "Ann", "login", resumed=resumed)
    except Left:
        return None, talk, work
    return rows, talk, work


@pytest.fixture(autouse=True)
def _minutes_apart(monkeypatch: pytest.MonkeyPatch) -> None:
    ticking = itertools.count(1_700_000_000, 130)
    monkeypatch.setattr(ask_capped.time, "time", lambda: float(next(ticking)))


SPRAYINGS = [one_spraying(capped=number % 2 == 1, seed=number) for number in range(5)]


def result_in(work: Work) -> CappedResult:
    result = work.results["capped"]
    assert isinstance(result, CappedResult)
    return result


def test_three_sprayings_tell_how_the_pressure_answers(tmp_path: Path) -> None:
    rows, talk, work = session(
        tmp_path, SPRAYINGS[:3], ["", "live", "", "", "", "done", "yes", "yes"]
    )
    assert rows is not None, talk.text
    assert [row.kind for row in rows] == ["capped"]
    assert rows[0].evidence["noted"]["source"] == "simulated"
    result = result_in(work)
    assert abs(result.share - true_share(RIG, FAMILY)) <= 2.0 * result.share_u
    assert [one.capped for one in result.sprayings] == list(A_B_A)
    assert [one.at_s for one in result.sprayings] == pytest.approx([0.0, 130.0, 260.0], abs=5.0)
    told = " ".join(talk.text.split())
    assert "One tip of 8 capped: flowlog sees" in told
    assert "can be told apart on this rig" in told
    assert work.current().answer is not None


def test_two_more_sprayings_make_it_better(tmp_path: Path) -> None:
    answers: list[Answer] = ["", "", "", "", "", "yes", "", "", "done", "yes", "yes"]
    rows, _, work = session(tmp_path / "five", SPRAYINGS, answers)
    assert rows is not None
    _, _, few = session(
        tmp_path / "three", SPRAYINGS[:3], ["", "live", "", "", "", "done", "yes", "yes"]
    )
    assert len(result_in(work).sprayings) == 5
    assert result_in(work).share_u < result_in(few).share_u


def test_the_pressure_is_off_before_every_hand_on_a_tip(tmp_path: Path) -> None:
    _, talk, _ = session(tmp_path, SPRAYINGS[:3], ["", "", "", "", "", "done", "no", "no"])
    screen = talk.screen
    for number, what in ((2, "Cap one tip"), (3, "Take the cap off")):
        asked = next(i for i, line in enumerate(screen) if line.startswith(f"Spraying {number}"))
        before = screen[:asked]
        hand = max(i for i, line in enumerate(before) if line.startswith(what))
        cautions = [i for i, line in enumerate(before) if "engine off, pressure off" in line]
        assert cautions
        assert max(cautions) < hand
        assert any("brake set" in line for line in before[hand:])
    assert "clean water only" in "\n".join(screen)


def test_a_spraying_of_the_wrong_kind_is_told_at_once_and_done_again(tmp_path: Path) -> None:
    forgotten = [SPRAYINGS[0], SPRAYINGS[2], SPRAYINGS[1], SPRAYINGS[3], SPRAYINGS[4]]
    rows, talk, work = session(
        tmp_path, forgotten, ["", "", "", "", "", "", "", "done", "yes", "yes"]
    )
    assert rows is not None, talk.text
    assert "the flow did not fall (is the cap on" in talk.text
    assert "the flow is not back where it was (is the cap off?" in talk.text
    assert [one.capped for one in result_in(work).sprayings] == list(A_B_A)


def test_a_spraying_that_was_too_short_is_done_again(tmp_path: Path) -> None:
    short = one_spraying(capped=False, seconds=9.0)
    rows, talk, _ = session(
        tmp_path, [short, *SPRAYINGS[:3]], ["", "", "", "", "", "", "done", "yes", "yes"]
    )
    assert rows is not None, talk.text
    assert "of settled spraying (at least 10 s" in talk.text


def test_a_boom_that_is_open_already_is_to_be_shut_first() -> None:
    opened = one_spraying(capped=False, lead=0.0)
    with pytest.raises(MeasureError, match="shut the boom first"):
        spray_once(SprayFeed([opened]), RIG, "us", lambda _: None, lambda: False, lambda: 0.0)


@pytest.mark.parametrize("left_after", range(1, 6))
def test_left_between_two_sprayings_and_gone_on_with_gives_the_same(
    tmp_path: Path, left_after: int
) -> None:
    answers: list[Answer] = ["", "live", "", "", "", "done", "yes", "yes"]
    rows, _, whole = session(tmp_path / "whole", SPRAYINGS[:3], list(answers))
    assert rows is not None
    rows, _, _ = session(tmp_path / "cut", SPRAYINGS[:3], answers[:left_after])
    assert rows is None
    done = max(left_after - 2, 0)
    rows, talk, again = session(
        tmp_path / "cut", SPRAYINGS[done:3], ["yes", *answers[left_after:]], resumed=True
    )
    assert rows is not None, talk.text
    assert result_in(again).blocked == result_in(whole).blocked


def test_the_step_can_be_passed_over(tmp_path: Path) -> None:
    talk = ScriptedTalk(["", "no", "no"])
    work = Work(
        Interview(talk, Draft.open(tmp_path), "us"), RIG, InUse(RIG), "us", lambda: SprayFeed([])
    )
    rows = run_session(work, ("baseline", "capped"), "Ann", "login", resumed=False)
    assert rows == []


def test_a_boom_of_one_tip_is_told_to_skip_it(tmp_path: Path) -> None:
    alone = dataclasses.replace(RIG, boom=dataclasses.replace(RIG.boom, tips=1))
    _, talk, _ = session(tmp_path, [], [""], rig=alone)
    assert "has none to spare" in talk.text


def test_a_check_can_be_given_as_a_recording_instead(tmp_path: Path) -> None:
    path = tmp_path / "check.flog"
    run = simulate(check_of(RIG, FAMILY, 7))
    write(path, run.items)
    rows, talk, work = session(tmp_path, [], ["", "type", "nothing.flog", str(path), "yes", "yes"])
    assert rows is not None, talk.text
    assert "nothing.flog" in talk.after("nothing.flog")
    assert rows[0].evidence["noted"]["source"] == str(path)
    assert result_in(work).tips == 8


def write(path: Path, items: list[Samples | Hello]) -> None:
    with RecordingWriter(path, {"rig": RIG.name}) as out:
        for item in items:
            if isinstance(item, Hello):
                out.write(encode_hello(item))
                continue
            for row in item.table.tolist():
                out.write(encode_sample(row))


# Of a rig whose file is wrong in all it says.


def test_a_rig_with_hidden_errors_is_calibrated_and_its_answer_lies_where_it_says() -> None:
    c = calibrate(1)
    each = c.rig.boom.tip.coefficient
    supply = sized_supply("demand relief", c.rig.expected_flow_m3_s, c.rig.expected_pressure_pa)
    # The worn tip is not the one that is capped.
    whole, less = (
        operating_point(supply.pump, (tips + WORN_SHARE) * each, line_loss=supply.line_loss)
        for tips in (8, 7)
    )
    rise = math.log(float(less.gauge_pa) / float(whole.gauge_pa))
    fall = 0.5 * rise - math.log(float(less.flow_m3_s) / float(whole.flow_m3_s))
    truth, size = rise / fall, 8 * -math.expm1(-fall)
    inside = sized = 0
    for seed in range(20):
        plan = check_of(c.rig, "demand relief", seed, order=(False, True, False, True, False))
        hidden = scenario(c.rig, seed, plan.legs, *plan.faults)
        result = checked(hidden, c.applied)
        inside += result.answer.covers(truth)
        sized += result.blocked.covers(size)
    assert min(inside, sized) >= 17


# Out of a stream.


def restarted_at(seconds: float) -> Callable[[], list[Samples | Hello]]:
    fault = Fault("board reset", seconds, 1.5)
    return lambda: simulate(check_of(RIG, FAMILY, 4, noise="quiet", faults=[fault])).items


def test_a_board_that_restarts_in_a_pause_does_no_harm() -> None:
    found = sprayings_from(ItemFeed(restarted_at(80.0)()), RIG)
    assert len(found) == 3
    assert all(earlier.at_s < later.at_s for earlier, later in itertools.pairwise(found))


def test_a_board_that_restarts_while_spraying_spoils_that_spraying() -> None:
    with pytest.raises((MeasureError, CalibrationError), match="restarted while spraying"):
        sprayings_from(ItemFeed(restarted_at(20.0)()), RIG)


def test_nothing_in_it_is_said_so() -> None:
    with pytest.raises(MeasureError, match="nothing in it"):
        sprayings_from(ItemFeed([]), RIG)
