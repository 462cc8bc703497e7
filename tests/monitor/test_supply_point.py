"""The pump's side: it weakens, it is turned, it draws air."""

from __future__ import annotations

from math import exp

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowlog.monitor.alerts import AlertBook
from flowlog.monitor.noise import DECAY
from flowlog.monitor.outputs import Position
from flowlog.monitor.rules.supply_point import SupplyWatch

USUAL = 0.004**2
LEVEL = 12.5
"""ln(P) of 2.7 bar."""


def place(tick: int) -> Position:
    return Position(0, tick * 5, tick * 500_000)


def swirl(n: int, seed: int, spread: float = 0.013, tau_ticks: float = 4.0) -> np.ndarray:
    decay = exp(-1.0 / tau_ticks)
    out, now = np.empty(n), 0.0
    for i, kick in enumerate(np.random.default_rng(seed).normal(0, 1, n)):
        now = decay * now + spread * (1 - decay**2) ** 0.5 * kick
        out[i] = now
    return out


class Watched:
    """A watch, fed with pressures about `LEVEL` and with news of the flow."""

    def __init__(self) -> None:
        self.book = AlertBook()
        self.watch = SupplyWatch(self.book)
        self.ticks = 0
        self.usual = USUAL
        self.found: list[int] = []

    def feed(self, pressures, news=None, *, busy=False) -> Watched:
        news = np.zeros(len(pressures)) if news is None else news
        for off, one in zip(map(float, pressures), map(float, news), strict=True):
            at = place(self.ticks)
            if self.watch.step(at, at, LEVEL + off, one, self.usual, boom_busy=busy):
                self.found.append(self.ticks)
                self.began = self.watch.wild_since().t_us / 1e6
            self.ticks += 1
        return self

    def said(self) -> list[tuple[str, str]]:
        return [(event.code, event.change) for event in self.book.events]


def quiet(n: int = 700, seed: int = 1) -> Watched:
    return Watched().feed(swirl(n, seed))


@pytest.mark.parametrize("seed", range(5))
def test_a_steady_supply_raises_nothing_in_two_hours(seed):
    wander = swirl(14_400, seed) + swirl(14_400, 100 + seed, 0.02, 1200.0)
    assert Watched().feed(wander).said() == []


def test_a_pressure_that_sinks_bit_by_bit_is_a_weak_supply():
    watched = quiet()
    ramp = np.linspace(0.0, -0.3, 600)
    watched.feed(ramp + swirl(600, 2)).feed(-0.3 + swirl(60, 3))
    (event,) = watched.book.events
    assert (event.code, event.change) == ("supply_weak", "opened")
    # Where it is by then, a little below the limit that the slow average crossed.
    assert event.size == pytest.approx(100 * (exp(-0.15) - 1), abs=2.0)
    assert "look alike" in event.text
    assert any("strainer" in check.lower() for check in event.checks)


def test_it_is_dated_back_to_where_the_pressure_left_its_place():
    watched = quiet()
    watched.feed(np.linspace(0.0, -0.3, 200))
    (event,) = watched.book.events
    # The ramp is a minute old by then; its beginning cannot be told from noise.
    assert 700 * 0.5 < event.since.t_us / 1e6 < 0.5 * (event.at.t_us / 1e6) + 350 * 0.5


def test_a_supply_that_comes_back_clears_the_alert():
    watched = quiet()
    watched.feed(np.linspace(0.0, -0.3, 600)).feed(np.linspace(-0.3, 0.0, 300)).feed(np.zeros(60))
    assert watched.said() == [("supply_weak", "opened"), ("supply_weak", "cleared")]


@pytest.mark.parametrize("step", [-0.5, -0.25, 0.25, 0.5])
def test_a_pressure_that_moves_at_once_and_stays_is_a_turned_regulator(step):
    """Noted, and taken as the pressure that is wanted: it is said once."""
    watched = quiet()
    watched.feed(step + swirl(1200, 2))
    assert watched.said() == [("regulator_moved", "noted")]
    (event,) = watched.book.events
    assert event.size == pytest.approx(100 * (exp(step) - 1), abs=2.0)
    assert event.since.t_us / 1e6 == pytest.approx(350.0, abs=2.0)
    assert "at once" in event.text


def test_a_pressure_that_rises_bit_by_bit_is_no_weak_supply():
    watched = quiet()
    watched.feed(np.linspace(0.0, 0.3, 600))
    assert {code for code, _ in watched.said()} == {"regulator_moved"}
    assert "bit by bit" in watched.book.events[0].text


@pytest.mark.parametrize("step", [-0.1, 0.1])
def test_a_tenth_more_or_less_is_within_what_a_small_pump_wanders(step):
    assert quiet().feed(step + swirl(1200, 2)).said() == []


def test_the_pressure_of_a_boom_with_a_fault_is_no_measure_of_the_supply():
    watched = quiet().feed(np.full(600, 0.3), busy=True)
    assert watched.said() == []


def air(n: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Flow that jumps both ways by far more than turbulence, and a pressure that sags."""
    rng = np.random.default_rng(seed)
    return -0.3 + 0.1 * rng.normal(0, 1, n), rng.normal(0, 0.1, n)


@pytest.mark.parametrize("seed", range(5))
def test_jumps_both_ways_and_a_sagging_pressure_are_air(seed):
    watched = quiet()
    watched.feed(*air(40, seed))
    assert len(watched.found) == 1
    assert watched.found[0] < 700 + 16
    assert watched.watch.drawing_air
    assert watched.began == pytest.approx(350.0, abs=4.0)


def test_jumps_at_a_pressure_that_stands_are_no_air():
    """Foam, and bursts of air that the pump does not feel."""
    _, news = air(40, 1)
    assert quiet().feed(np.zeros(40), news).found == []


def test_a_pressure_that_collapses_without_jumps_is_no_air():
    assert quiet().feed(np.full(40, -0.5)).found == []


def test_one_burst_through_the_meter_is_no_air_even_at_a_weak_pressure():
    """1.2 s of 30 % less, over its two ends: three ticks one way and one or two the other."""
    news = np.zeros(40)
    news[5:9] = [-0.2, -0.15, 0.05, 0.25]
    assert quiet().feed(np.full(40, -0.1), news).found == []


def test_a_fault_of_the_boom_goes_one_way_and_is_no_air():
    news = np.zeros(40)
    news[5:] = -0.05
    assert quiet().feed(np.full(40, -0.1), news).found == []


def test_air_is_over_after_ten_steady_seconds_at_the_old_pressure():
    watched = quiet()
    watched.feed(*air(40, 1))
    watched.book.open("air_drawn", place(740), place(700), "Air.")
    watched.feed(swirl(19, 2, 0.005))
    assert watched.watch.drawing_air
    watched.feed(swirl(30, 3, 0.005))
    assert not watched.watch.drawing_air
    assert watched.said()[-1] == ("air_drawn", "cleared")


def test_air_with_a_pressure_that_stays_down_goes_on():
    watched = quiet()
    watched.feed(*air(40, 1))
    watched.feed(np.full(200, -0.8))
    assert watched.watch.drawing_air


def test_air_that_goes_on_for_minutes_does_not_pass_for_usual():
    """The usual news, as the noise level learns them, have become those of the air."""
    watched = quiet()
    watched.feed(*air(40, 1))
    watched.usual = 0.1**2
    pressure, news = air(600, 2)
    watched.feed(pressure + 0.15, news)
    assert watched.watch.drawing_air


def test_nothing_is_judged_in_the_first_minute():
    watched = Watched().feed(np.zeros(60))
    watched.feed(*air(40, 1))
    assert watched.found == []


def test_wild_ticks_do_not_teach_the_level():
    watched = Watched().feed(np.zeros(200))
    watched.feed(*air(100, 1))
    watched.feed(np.zeros(600))
    assert [code for code, _ in watched.said() if code == "regulator_moved"] == []


@given(
    st.lists(st.tuples(st.floats(-1.0, 1.0), st.none() | st.floats(-0.5, 0.5)), max_size=400),
    st.booleans(),
)
def test_at_most_one_weak_supply_is_open_whatever_comes(rows, busy):
    watched = Watched()
    for off, news in rows:
        at = place(watched.ticks)
        watched.watch.step(at, at, LEVEL + off, news, USUAL, boom_busy=busy)
        watched.ticks += 1
    open_ = 0
    for code, change in watched.said():
        if code == "supply_weak":
            open_ += {"opened": 1, "cleared": -1}[change]
            assert open_ in (0, 1)


def test_the_news_of_a_quiet_flow_are_hardly_ever_wild():
    """In three hours none of ten ticks holds what air does."""
    watched = Watched()
    news = np.random.default_rng(7).normal(0, USUAL**0.5, 21_600)
    assert watched.feed(-0.1 * np.ones(21_600) + 0.1 * DECAY, news).found == []


@given(
    st.lists(
        st.tuples(
            st.sampled_from([0.0, 0.0, -0.2, -0.09, 0.2]),
            st.sampled_from([1.0, 1.0, 1.0, 8.0]),
            st.integers(1, 60),
            st.booleans(),
        ),
        max_size=8,
    ),
    st.integers(0, 99),
)
def test_many_ticks_without_a_turn_bring_it_where_each_would(pieces, seed):
    many, single = Watched(), Watched()
    for off, wildness, count, busy in [(0.0, 1.0, 200, False), *pieces]:
        pressures = [float(LEVEL + off + value) for value in swirl(count, seed)]
        news = [float(wildness * value) for value in swirl(count, seed + 1, USUAL**0.5)]
        usual = [USUAL] * count
        before = single.said()
        single.feed(np.array(pressures) - LEVEL, news, busy=busy)
        # The same sums as it forms them.
        pressures = [LEVEL + (pressure - LEVEL) for pressure in pressures]
        if many.watch.look(pressures, news, usual, boom_busy=busy):
            assert single.said() == before
            many.watch.go_on([place(many.ticks + i) for i in range(count)], pressures)
            many.ticks += count
        else:
            many.feed(np.array(pressures) - LEVEL, news, busy=busy)
        assert many.book.events == single.book.events
        assert many.watch.restless == single.watch.restless
        kept = ("_level", "_mean", "_recent", "_news", "_wild", "drawing_air")
        assert [vars(many.watch)[name] for name in kept] == [
            vars(single.watch)[name] for name in kept
        ]
