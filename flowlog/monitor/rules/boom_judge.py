"""Settled ticks against the healthy baseline: its level, its noise, the tests for a shift of it.

What a test that crosses means for the alert about the boom, and what becomes of an open one, is
`flowlog.monitor.rules.boom_alert`; what a route begins with, `boom_start`.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import compress
from math import exp, log, sqrt

from flowlog.monitor.alerts import AlertBook, Size
from flowlog.monitor.closer import Closer
from flowlog.monitor.conductance import Baseline
from flowlog.monitor.cusum import QUIET_NATS, Bank
from flowlog.monitor.evidence import Evidence, Test, Watcher
from flowlog.monitor.noise import NoiseLevel
from flowlog.monitor.outputs import Position
from flowlog.monitor.phase import CHECK_VALVE_PA
from flowlog.monitor.rules.boom_alert import BoomAlert
from flowlog.monitor.rules.boom_sizes import shifts
from flowlog.monitor.rules.boom_start import BoomStart
from flowlog.monitor.rules.recent import RecentTicks
from flowlog.monitor.rules.settled import Settled, SettledTicks
from flowlog.monitor.rules.supply_point import SupplyWatch
from flowlog.monitor.supply import SupplyPoint, answers_of
from flowlog.rig.model import HealthyBoom, Rig

_LEAST_SHARE = 0.6
"""Of the tips' lowest pressure, or what their check valves open at: below, tips shut by themselves,
and what the boom passes says nothing about them."""
_DRIFTED = 0.03
"""Log conductance: a third of the wear at which a set of tips is replaced."""


class BoomJudge:
    """Judges each settled tick against the healthy baseline, which the route's beginning teaches.

    Many ticks in which nothing turns are judged at once: each part says what it would say to them
    (`look`), and goes on behind them (`go_on`) if none has anything to say. That is the same to the
    last bit as one by one, since what they are judged by (level, density, thresholds) moves only
    in between, every twenty seconds.
    """

    def __init__(
        self, rig: Rig, book: AlertBook, healthy: HealthyBoom | None, closer: Closer
    ) -> None:
        self._book = book
        self._noise = NoiseLevel()
        self._supply = SupplyPoint()
        self._bank = Bank(shifts(rig), rig.thresholds.false_alarms_per_100_h)
        self._baseline = Baseline()
        self.recent = RecentTicks(
            rig.boom.tips,
            answers_of(rig.answer),
            self._noise,
            self._supply,
            self._baseline,
            closer,
        )
        self.alert = BoomAlert(rig, book, self._noise, self._bank, self._baseline, self.recent)
        self._start = BoomStart(rig, book, healthy, self._noise, self._baseline, self.alert)
        self._supply_watch = SupplyWatch(book)
        self._least_log = log(min(CHECK_VALVE_PA, _LEAST_SHARE * rig.boom.pressure_low_pa))
        self._drifting = False
        self.watcher: Watcher | None = None
        """Told of every judged tick, for explanations."""

    def interrupt(self) -> None:
        """The spraying was interrupted.

        The tests are frozen, not reset, so that a fault is found across short passes.
        """
        self._baseline.refine()
        self._noise.restart()
        self._supply.restart()

    def judge(self, tick: Settled, said: Position) -> float | None:
        """Judge a tick that is known by now to lie within the spraying.

        Args:
            tick: It.
            said: Now.

        Returns:
            The boom's conductance over the baseline's; None where nothing can be said.
        """
        self._supply.step(tick.log_pressure)
        self.recent.ticks_since_pause += 1
        if not self._baseline.armed:
            self._start.step(tick, said)
            return None
        residual = tick.log_conductance - self._baseline.level
        judged = self._test(tick, said, residual)
        if self._noise.renew():
            self._refine(said)
        if not judged:
            return None
        if self.watcher is not None:
            self.watcher(self._evidence(tick, said, residual))
        return exp(residual)

    def _test(self, tick: Settled, said: Position, residual: float) -> bool:
        """Take a tick into the tests; return whether it says anything about the boom."""
        noise, fault = self._noise, self.alert.fault
        expected = fault.level if fault is not None else 0.0
        innovation = noise.whiten(residual, tick.seconds, expected)
        news = jump = None
        if innovation is not None:
            news = innovation.news
            # A lasting shift that is known of is no jump.
            jump = news - innovation.rest * expected
        self.recent.add(tick.at, residual, news)
        watch = self._supply_watch
        busy = fault is not None
        if watch.step(tick.at, said, tick.log_pressure, jump, noise.usual, boom_busy=busy):
            self.alert.become_air(said, watch.wild_since())
        if watch.drawing_air or tick.log_pressure < self._least_log:
            # Then there is nothing to judge here.
            return False
        if fault is not None:
            turn = fault.step(innovation, residual, noise)
            if turn is not None:
                self.alert.turn(fault, turn, said, restless=watch.restless)
        elif innovation is not None:
            alarm = self._bank.step(
                innovation, noise.density_s, self._known_to, self.recent.confirms
            )
            if alarm is not None:
                self.alert.open(said, alarm)
            elif self._bank.quiet:
                self._baseline.gather([residual], [tick.seconds])
        return True

    @property
    def _known_to(self) -> float:
        """Standard uncertainty of the healthy level."""
        return sqrt(self._noise.density_s / self._baseline.seconds)

    def _refine(self, said: Position) -> None:
        """Twenty seconds have passed: what was learnt in them counts from now on."""
        self._baseline.refine()
        fault = self.alert.fault
        if fault is not None:
            if fault.has_faded(self._noise):
                self.alert.turn(fault, "gone", said, restless=self._supply_watch.restless)
        elif self._bank.quiet and not self._drifting:
            self._watch_drift(said)

    def _evidence(self, tick: Settled, at: Position, residual: float) -> Evidence:
        fault = self.alert.fault
        return Evidence(
            at=tick.at,
            said=at,
            seconds=tick.seconds,
            residual=residual,
            level=self._baseline.level,
            log_pressure=tick.log_pressure,
            density_s=self._noise.density_s,
            roughness=self._noise.roughness,
            tests=() if fault else tuple(Test(*state) for state in self._bank.state()),
            fault_level=fault.level if fault else None,
        )

    def _watch_drift(self, at: Position) -> None:
        """Wear and slow clogging: the tracked level against what was learnt first."""
        anchor = self._baseline.anchor
        if anchor is None:
            return
        drift = self._baseline.level - anchor
        if abs(drift) < _DRIFTED:
            return
        self._drifting = True
        percent = 100.0 * (exp(drift) - 1.0)
        text = (
            f"Bit by bit the boom has come to pass {abs(percent):.0f} % "
            f"{'more' if drift > 0.0 else 'less'} than at first, at the same pressure. "
            "The baseline has gone stale: calibrate it again."
        )
        self._book.note("boom_drift", at, at, text, Size(percent, "%"))

    # -- many ticks at once ------------------------------------------------------------------

    def judge_all(self, ticks: SettledTicks) -> list[float | None]:
        """`judge` for each of many whole ticks without a break."""
        shares: list[float | None] = []
        begin, n = 0, len(ticks.at)
        while begin < n:
            end = min(n, begin + self._room)
            part = ticks.part(begin, end)
            calm = self._judge_calm(part) if end - begin > 1 else None
            if calm is None:
                shares += [self.judge(part.tick(i), part.said[i]) for i in range(end - begin)]
            else:
                shares += calm
            begin = end
        return shares

    @property
    def _room(self) -> int:
        """How many ticks may be judged at once."""
        if not self._baseline.armed or not self._noise.begun or self.watcher is not None:
            return 1
        fault = self.alert.fault
        return self._noise.room if fault is None else min(self._noise.room, fault.room)

    def _judge_calm(self, ticks: SettledTicks) -> list[float] | None:
        """`judge` for ticks in which nothing turns; None, and nothing done, if something may."""
        at, seconds, log_conductances, log_pressures, said = ticks
        noise, fault, watch = self._noise, self.alert.fault, self._supply_watch
        if min(log_pressures) < self._least_log:
            return None
        level = self._baseline.level
        residuals = [value - level for value in log_conductances]
        expected = fault.level if fault is not None else 0.0
        seen, usual = noise.look(residuals, seconds, expected)
        lasting = seen.rest * expected
        jumps = [news - lasting for news in seen.news] if fault is not None else seen.news
        if not watch.look(log_pressures, jumps, usual, boom_busy=fault is not None):
            return None
        loudest: Sequence[float] = ()
        if fault is not None:
            calm = fault.look(seen)
        else:
            loudest = self._bank.look(seen, noise.density_s, self._known_to)
            calm = self._bank.calm(loudest)
        if not calm:
            return None

        self._supply.run(log_pressures)
        self.recent.ticks_since_pause += len(residuals)
        noise.go_on()
        self.recent.extend(at, residuals, seen.news, usual)
        watch.go_on(at, log_pressures)
        if fault is not None:
            fault.go_on(residuals)
            turn = fault.due()
            if turn is not None:
                self.alert.turn(fault, turn, said[-1], restless=watch.restless)
        else:
            self._bank.go_on(residuals, loudest)
            quiet = [loud < QUIET_NATS for loud in loudest]
            self._baseline.gather(compress(residuals, quiet), compress(seconds, quiet))
        if noise.renew():
            self._refine(said[-1])
        return list(map(exp, residuals))
