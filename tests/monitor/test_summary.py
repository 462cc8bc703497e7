"""A route's readings, marks and events are summed up to what went where."""

from __future__ import annotations

import dataclasses
import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flowlog.monitor import summary
from flowlog.monitor.accuracy import budget
from flowlog.monitor.outputs import Event, Position, Reading
from flowlog.monitor.stops import Mark, at_work, find_stops, timeline
from flowlog.monitor.summary import alerts_of, columns_of, summarise
from flowlog.rig.model import Board, Boom, Gauge, Meter, Rig, Tip, Wheel, Work

RIG = Rig(
    name="Test rig",
    boom=Boom(8, 0.508, Tip(5.047e-5, 275_790.0), 172e3, 345e3),
    work=Work(rate_m3_m2=6.112e-5, speed_m_s=1.34),
    meter=Meter(450e3, 3e-5, 5e-4),
    gauge=Gauge(689_476.0),
    board=Board("/dev/null"),
)


def second(
    t_s: float,
    phase: str = "spraying",
    *,
    segment: int = 0,
    rate_share: float | None = 1.0,
    seconds: float = 1.0,
    pressure: float | None = 276e3,
    pulses: int = 150,
    lost: int = 0,
) -> Reading:
    """One second; the rate is a share of the asked one."""
    open_ = phase in ("spraying", "settling")
    area = 5.446 * seconds if open_ else 0.0
    rate = None if rate_share is None or not open_ else rate_share * RIG.work.rate_m3_m2
    volume = area * (rate or 0.0)
    return Reading(
        at=Position(segment, int(t_s * 10), int(t_s * 1e6)),
        seconds=seconds,
        phase=phase,  # type: ignore[arg-type]
        pulses=pulses if open_ else 0,
        volume_m3=volume,
        area_m2=area,
        flow_m3_s=volume / seconds if rate is not None else None,
        pressure_pa=pressure,
        pressure_min_pa=None if pressure is None else pressure - 5e3,
        pressure_max_pa=None if pressure is None else pressure + 5e3,
        rate_m3_m2=rate,
        speed_m_s=1.34,
        conductance_share=1.0,
        tank_m3=0.2,
        samples=10,
        lost=lost,
    )


def course(*parts: tuple[str, int]) -> list[Reading]:
    readings = []
    for phase, length in parts:
        for _ in range(length):
            readings.append(second(len(readings) + 1.0, phase))
    return readings


def summed(readings, marks=(), events=()):
    return summarise(columns_of(readings), list(events), list(marks), RIG)


def test_a_pause_longer_than_stop_pause_separates_two_stops():
    summary = summed(course(("spraying", 60), ("off", 181), ("spraying", 30)))
    assert [round(stop.figures.spraying_s) for stop in summary.stops] == [60, 30]
    assert [stop.number for stop in summary.stops] == [1, 2]


def test_a_pause_as_long_as_stop_pause_does_not_separate():
    summary = summed(course(("spraying", 60), ("off", 180), ("spraying", 30)))
    assert len(summary.stops) == 1
    assert summary.stops[0].figures.elapsed_s == 270
    assert summary.stops[0].figures.spraying_s == 90


def test_a_marked_beginning_cuts_without_a_pause_and_names_what_follows():
    readings = course(("spraying", 60), ("off", 10), ("spraying", 30))
    summary = summed(readings, [Mark("begin", 0, 65_000_000, "north lawn")])
    assert [(stop.name, stop.marked) for stop in summary.stops] == [
        (None, False),
        ("north lawn", True),
    ]


def test_a_beginning_marked_while_the_last_stop_still_drains_names_the_next_one():
    readings = course(("spraying", 60), ("draining", 5), ("off", 10), ("spraying", 30))
    summary = summed(readings, [Mark("begin", 0, 62_000_000, "next")])
    assert [stop.name for stop in summary.stops] == [None, "next"]


def test_between_a_marked_beginning_and_its_end_no_pause_cuts():
    readings = course(
        ("off", 5), ("spraying", 60), ("off", 400), ("spraying", 30), ("off", 9), ("spraying", 9)
    )
    marks = [Mark("begin", 0, 2_000_000, "big lawn"), Mark("end", 0, 500_000_000)]
    summary = summed(readings, marks)
    assert [(stop.name, stop.figures.spraying_s) for stop in summary.stops] == [
        ("big lawn", 90),
        (None, 9),
    ]


def test_a_name_given_after_the_spraying_belongs_to_the_stop_before():
    readings = course(("spraying", 60), ("off", 300), ("spraying", 30))
    summary = summed(readings, [Mark("name", 0, 200_000_000, "yard 12")])
    assert [stop.name for stop in summary.stops] == ["yard 12", None]


def test_the_newest_name_holds():
    readings = course(("spraying", 60))
    marks = [Mark("name", 0, 50_000_000, "right"), Mark("name", 0, 20_000_000, "wrong")]
    assert summed(readings, marks).stops[0].name == "right"


def test_a_mark_to_which_no_spraying_belongs_is_reported():
    mark = Mark("begin", 0, 70_000_000, "never sprayed")
    summary = summed(course(("spraying", 60), ("off", 20)), [mark])
    assert summary.unused_marks == (mark,)
    assert [stop.name for stop in summary.stops] == [None]


def test_a_begun_and_ended_stop_without_spraying_does_not_name_the_next_one():
    readings = course(("off", 60), ("spraying", 20))
    marks = [Mark("begin", 0, 10_000_000, "empty"), Mark("end", 0, 20_000_000)]
    summary = summed(readings, marks)
    assert [stop.name for stop in summary.stops] == [None]
    assert summary.unused_marks == tuple(marks)


def test_a_reset_of_the_board_does_not_separate_while_the_wall_clock_shows_no_long_pause():
    first = [second(t + 1.0) for t in range(20)]
    then = [second(t + 1.0, segment=1) for t in range(20)]
    columns = dict(columns_of(first + then))
    columns["wall_us"] = np.concatenate([np.arange(20), np.arange(25, 45)]) * 1_000_000
    assert len(summarise(columns, [], [], RIG).stops) == 1
    columns["wall_us"][20:] += 400_000_000
    assert len(summarise(columns, [], [], RIG).stops) == 2


def test_a_wall_clock_that_jumps_back_at_a_reset_takes_no_time_away():
    columns = dict(columns_of([second(1.0), second(2.0), second(1.0, segment=1)]))
    columns["wall_us"] = np.array([10_000_000, 11_000_000, 3_000_000])
    assert timeline(columns).tolist() == [1.0, 2.0, 3.0]


def test_the_wall_clock_does_not_matter_within_a_segment():
    readings = course(("spraying", 30), ("off", 100), ("spraying", 30))
    columns = dict(columns_of(readings))
    columns["wall_us"] = np.arange(160) * 1_000_000
    columns["wall_us"][80:] += 10**15
    assert len(summarise(columns, [], [], RIG).stops) == 1


def test_shares_count_settled_seconds_with_a_rate_only():
    readings = [
        second(1.0, "settling", rate_share=0.3),
        second(2.0, rate_share=None),
        second(3.0, rate_share=1.04),
        second(4.0, rate_share=0.93),
        second(5.0, rate_share=1.2),
        second(6.0, rate_share=1.0),
    ]
    figures = summed(readings).figures
    assert figures.judged_s == 4
    assert figures.within_5_share == 0.5
    assert figures.within_10_share == 0.75
    assert figures.spraying_s == 6


def test_the_mean_rate_is_all_volume_over_all_area():
    readings = [second(1.0, rate_share=0.5), second(4.0, rate_share=1.0, seconds=3.0)]
    figures = summed(readings).figures
    assert figures.rate_m3_m2 == pytest.approx(0.875 * RIG.work.rate_m3_m2)
    assert (figures.gaps, figures.gap_s) == (1, 2.0)


def test_pressure_is_given_as_spread_and_as_extremes():
    readings = [second(t + 1.0, pressure=200e3 + 1e3 * t) for t in range(101)]
    figures = summed(readings).figures
    assert figures.pressure_p5_pa == pytest.approx(205e3)
    assert figures.pressure_p95_pa == pytest.approx(295e3)
    assert figures.pressure_min_pa == pytest.approx(195e3)
    assert figures.pressure_max_pa == pytest.approx(305e3)


def test_nothing_measured_gives_none_and_not_zero():
    readings = [second(1.0, rate_share=None, pressure=None, pulses=0)]
    summary = summed(readings)
    figures = summary.figures
    assert figures.within_5_share is None
    assert figures.flow_m3_s is None
    assert figures.pressure_pa is None
    assert figures.pressure_min_pa is None
    assert summary.accuracy is None


def test_no_readings_make_an_empty_summary():
    summary = summed([], [Mark("begin", 0, 1, "x")])
    assert summary.stops == ()
    assert summary.figures.volume_m3 == 0
    assert len(summary.unused_marks) == 1


def test_volume_that_runs_outside_of_all_stops_is_told_apart():
    readings = course(("spraying", 10), ("off", 10))
    leak = second(21.0, "off")
    readings.append(
        Reading(**{**{name: getattr(leak, name) for name in leak.__slots__}, "volume_m3": 0.002})
    )
    summary = summed(readings)
    assert summary.volume_outside_m3 == pytest.approx(0.002)


def event(change, *, at, alert="tip_blocked.0.100", text="One tip is blocked.", size=1.0):
    return Event(
        alert, "tip_blocked", change, Position(0, at * 10, at * 1_000_000), Position(0, 0, 0), text,
        size=size, size_low=0.8, size_high=1.2, size_unit="tips",
    )  # fmt: skip


def test_the_events_of_an_alert_become_one_alert_with_its_newest_size():
    alerts = alerts_of(
        [
            event("opened", at=20),
            event("grew", at=30, text="Two tips are blocked.", size=2.0),
            event("cleared", at=50, text="Healthy again.", size=None),
            event("opened", at=60, alert="tip_blocked.0.600"),
        ]
    )
    assert [(alert.text, alert.size, alert.grew, alert.open) for alert in alerts] == [
        ("Two tips are blocked.", 2.0, 1, False),
        ("One tip is blocked.", 1.0, 0, True),
    ]


def test_a_size_that_was_measured_better_stands_for_the_earlier_one():
    """It did not grow, and the first, rough measure is not its worst."""
    surer = {"surer": 1.0}
    (alert,) = alerts_of(
        [
            event("opened", at=20, text="About 1.1 tips.", size=1.1),
            replace(event("grew", at=23, text="1.0 tip.", size=1.0), details=surer),
            event("grew", at=60, text="About 2.2 tips.", size=2.2),
            replace(event("grew", at=68, text="2.0 tips.", size=2.0), details=surer),
            event("grew", at=90, text="Half a tip.", size=0.5),
        ]
    )
    assert (alert.text, alert.worst_text, alert.grew) == ("Half a tip.", "2.0 tips.", 2)


def test_an_alert_that_was_named_otherwise_is_one_alert_with_its_last_code():
    """The size that it had under its first name is no size of what it is: 25 % against one tip."""
    (alert,) = alerts_of(
        [
            replace(event("opened", at=20, size=-25.0), code="meter_low", size_unit="%"),
            replace(event("grew", at=23, text="One tip.", size=1.0), details={"surer": 1.0}),
            event("cleared", at=50, text="Healthy again.", size=None),
        ]
    )
    assert alert.alert == "tip_blocked.0.100"
    assert (alert.code, alert.size, alert.size_unit) == ("tip_blocked", 1.0, "tips")
    assert (alert.text, alert.worst_text, alert.grew) == ("One tip.", "One tip.", 1)
    assert not alert.open


def test_an_alert_belongs_to_the_stop_in_or_after_which_it_opened():
    readings = course(("spraying", 60), ("off", 300), ("spraying", 30))
    summary = summed(readings, events=[event("opened", at=100), event("opened", at=370, alert="b")])
    assert [[alert.alert for alert in stop.alerts] for stop in summary.stops] == [
        ["tip_blocked.0.100"],
        ["b"],
    ]


PHASES = st.sampled_from(["off", "settling", "spraying", "draining"])


@st.composite
def recordings(draw):
    """Readings in several segments, with gaps, in any order of phases, and marks anywhere."""
    readings = []
    for segment in range(draw(st.integers(1, 3))):
        t_s = draw(st.floats(0, 1000))
        for phase, repeat in draw(st.lists(st.tuples(PHASES, st.integers(1, 30)), max_size=8)):
            for _ in range(repeat):
                seconds = draw(st.sampled_from([1.0, 1.0, 1.0, 1.0, 25.0]))
                t_s += seconds
                readings.append(second(t_s, phase, segment=segment, seconds=seconds))
    marks = draw(
        st.lists(
            st.builds(
                Mark,
                st.sampled_from(["begin", "end", "name"]),
                st.integers(0, 3),
                st.integers(0, 2_000_000_000),
                st.one_of(st.none(), st.text(max_size=5)),
            ),
            max_size=6,
        )
    )
    return readings, marks


@settings(max_examples=150, deadline=None)
@given(recordings(), st.sampled_from([5.0, 60.0]))
def test_stops_do_not_overlap_and_hold_all_the_spraying_exactly_once(recording, pause_s):
    readings, marks = recording
    columns = columns_of(readings)
    spans, _ = find_stops(columns, marks, pause_s)
    work = at_work(columns)
    covered = np.zeros(len(work), dtype=int)
    for span in spans:
        assert span.first <= span.last
        assert work[span.first]
        covered[span.first : span.last + 1] += 1
    assert covered.max(initial=0) <= 1
    assert (covered[work] == 1).all()


@settings(max_examples=80, deadline=None)
@given(recordings())
def test_sums_over_the_stops_equal_the_routes_spraying(recording):
    readings, marks = recording
    summary = summed(readings, marks)
    for name in ("spraying_s", "area_m2", "volume_m3", "pulses"):
        total = sum(getattr(stop.figures, name) for stop in summary.stops)
        assert math.isclose(total, getattr(summary.figures, name), rel_tol=1e-9, abs_tol=1e-12)


@settings(max_examples=80, deadline=None)
@given(recordings())
def test_without_marks_no_pause_within_a_stop_is_longer_than_stop_pause(recording):
    readings, _ = recording
    columns = columns_of(readings)
    spans, _ = find_stops(columns, [], 20.0)
    ends, work = timeline(columns), at_work(columns)
    for span in spans:
        inside = [i for i in range(span.first, span.last + 1) if work[i]]
        for before, after in itertools.pairwise(inside):
            assert ends[after] - columns["seconds"][after] - ends[before] <= 20.0 + 1e-9


def test_the_budget_of_a_rate_without_a_wheel_is_dominated_by_the_assumed_speed():
    # In %, squared, by hand: meter 1.5^2 = 2.25, (2^2)/3 and 0.5^2; speed (5^2)/3; width 1/3:
    # 2.25 + 1.3333 + 0.25 + 8.3333 + 0.3333 = 12.5, and its root is 3.5355.
    rate = budget(RIG, 10_000)
    assert rate.relative == pytest.approx(0.035355, abs=1e-6)
    assert rate.largest.cause == "the ground speed"
    assert "+-7 %" in rate.sentence()
    assert "not measured" in rate.sentence()


def test_a_wheel_makes_the_rate_surer_and_area_needs_no_pulse():
    with_wheel = dataclasses.replace(RIG, wheel=Wheel(40.0))
    assert budget(with_wheel, 10_000).expanded < budget(RIG, 10_000).expanded
    assert budget(RIG, 0, "area").expanded == pytest.approx(2 * math.hypot(0.05, 0.01) / 3**0.5)


def test_few_pulses_make_a_volume_unsure():
    assert budget(RIG, 5, "volume").largest.cause == "counting"
    with pytest.raises(ValueError, match="no pulses"):
        budget(RIG, 0, "volume")


@given(st.lists(st.floats(0, 1e6), min_size=1, max_size=50), st.sampled_from([5, 50, 95]))
def test_percentiles_are_numpys(values, share):
    found = summary._percentile(np.array(values), share)
    assert found == pytest.approx(float(np.percentile(values, share)), rel=1e-12, abs=1e-9)
