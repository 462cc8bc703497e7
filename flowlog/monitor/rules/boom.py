"""The boom's conductance: which ticks of the spraying are judged, and when.

How they are judged is `flowlog.monitor.rules.boom_judge`.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import islice
from math import log

from flowlog.monitor.alerts import AlertBook
from flowlog.monitor.closer import Closer
from flowlog.monitor.conductance import Residual, law_of
from flowlog.monitor.evidence import Watcher
from flowlog.monitor.noise import are_whole
from flowlog.monitor.outputs import Position
from flowlog.monitor.rules.boom_judge import BoomJudge
from flowlog.monitor.rules.moment import Moment
from flowlog.monitor.rules.settled import Run, Settled, SettledTicks
from flowlog.monitor.rules.stretch import Stretch, first
from flowlog.monitor.rules.valve import ValveWatch
from flowlog.rig.model import HealthyBoom, Rig

_PAUSE_S = 60.0
"""With the boom shut for as long, the tank may have been filled with another mix. Turns take 8 to
20 s."""
_SHUT = ("off", "draining")
_WORTH_A_RUN = 4
"""Ticks; fewer are quicker one by one."""


class BoomWatch:
    """Finds the settled ticks of the spraying and has them judged.

    A tick is judged when it is known to lie whole within the spraying: at once where the valve's
    own input says so, else when the next one has come.
    """

    def __init__(
        self,
        rig: Rig,
        book: AlertBook,
        healthy: HealthyBoom | None = None,
        closer: Closer | None = None,
    ) -> None:
        self._exponent = law_of(healthy).exponent
        self._residual = Residual(law_of(healthy))
        self._judge = BoomJudge(rig, book, healthy, closer or Closer(rig))
        self._waiting: Settled | None = None
        """For the next tick to confirm that the boom stayed open."""
        self._shut_s = 0.0
        self._valve = ValveWatch(rig, book)

    def fill(self) -> None:
        """The tank was filled: what is sprayed from now on may be another mix."""
        self._judge.recent.ticks_since_pause = 0

    def watch(self, watcher: Watcher) -> None:
        """Tell `watcher` of every judged tick, for explanations."""
        self._judge.watcher = watcher

    def yield_to_gauge(self, log_off: float, sd: float, good: Position | None) -> str | None:
        """The gauge reads too high since `good`; see `flowlog.monitor.rules.gauge_drift.Boom`."""
        return self._judge.alert.yield_to_gauge(
            -self._exponent * log_off, self._exponent * sd, good
        )

    def gauge_is_back(self, at: Position, text: str) -> bool:
        """It reads right again."""
        return self._judge.alert.gauge_is_back(at, text)

    def step(self, now: Moment, *, sensors_ok: bool) -> float | None:
        """Take one tick in; return conductance relative to the baseline if it was judged."""
        self._valve.step(now)
        pressure = now.pressure_pa
        step, tick = now.step, now.tick
        if now.phase != "spraying" or pressure is None or not sensors_ok:
            self._interrupt()
            if now.phase in _SHUT:
                self._shut_s += step.seconds
            return None
        few_lost = step.lost <= tick.samples + 1
        inside = tick.valve_open == tick.samples
        return self._settled(now.at, step.seconds, step.flow_m3_s, pressure, few_lost, inside)

    def go_on(self, ahead: Stretch) -> list[float | None]:
        """`step` for each of many ticks with whole sensors: what it returns."""
        pressure_pa, steps, odd = ahead.pressure_pa, ahead.steps, self._valve.odd(ahead)
        if pressure_pa is None:
            return self._not_spray(ahead, odd, 0, len(ahead))
        samples = ahead.column("samples")
        few_lost = steps.lost <= samples + 1
        plain = few_lost & are_whole(steps.seconds) & (steps.flow_m3_s > 0.0) & (pressure_pa > 0.0)
        inside = ahead.column("valve_open") == samples
        measured = (steps.seconds, steps.flow_m3_s, pressure_pa, few_lost, inside)
        columns = [column.tolist() for column in measured]
        shares: list[float | None] = []
        for begin, end in ahead.runs:
            shares += self._not_spray(ahead, odd, len(shares), begin)
            part = slice(begin, end)
            run = Run(ahead.at[part], *(column[part] for column in columns))
            if not self._valve.busy and True not in odd[part]:
                shares += self._spray(run, first(~plain[part]))
                continue
            for i, tick in enumerate(run.rows(), begin):
                self._valve.step_of(ahead, i)
                shares.append(self._settled(*tick))
        return shares + self._not_spray(ahead, odd, len(shares), len(ahead))

    def _not_spray(
        self, ahead: Stretch, odd: Sequence[bool], begin: int, end: int
    ) -> list[float | None]:
        """`step` for ticks in which the boom is shut, or has not settled."""
        if begin < end:
            self._interrupt()
        names, seconds = ahead.phases.names, ahead.steps.seconds[begin:end].tolist()
        for i, tick_s in enumerate(seconds, begin):
            if odd[i] or self._valve.busy:
                self._valve.step_of(ahead, i)
            if names[i] in _SHUT:
                self._shut_s += tick_s
        return [None] * (end - begin)

    def _spray(self, run: Run, plain: int) -> list[float | None]:
        """`_settled` for each tick of a run, the first of which are `plain`: whole and measured."""
        at, seconds, flow, pressure, _few_lost, inside = run
        held = self._waiting
        judged = 0
        if held is None and inside[0]:
            judged = min(plain, inside.index(False) if False in inside else len(inside))
        elif True not in inside:
            judged = plain
        if judged < _WORTH_A_RUN:
            return [self._settled(*tick) for tick in run.rows()]
        self._begin_to_spray()
        part = slice(judged)
        values = self._residual.run(seconds[part], flow[part], pressure[part])
        log_pressures = list(map(log, pressure[part]))
        ticks = SettledTicks(at[part], seconds[part], values, log_pressures, at[part])
        shares: list[float | None] = []
        if not inside[0]:
            self._waiting = ticks.tick(judged - 1)
            ticks = ticks.confirmed(held)
            shares += [None] * (judged - len(ticks.at))
        shares += self._judge.judge_all(ticks)
        return shares + [self._settled(*tick) for tick in islice(run.rows(), judged, None)]

    def _begin_to_spray(self) -> None:
        if self._shut_s >= _PAUSE_S:
            self._judge.recent.ticks_since_pause = 0
        self._shut_s = 0.0

    def _interrupt(self) -> None:
        """No settled spraying, or none that can be judged.

        The tick before may have seen the valve close: it is not judged.
        """
        self._waiting = None
        self._residual.restart()
        self._judge.interrupt()

    def _settled(
        self,
        at: Position,
        seconds: float,
        flow_m3_s: float,
        pressure_pa: float,
        few_lost: bool,
        inside: bool,
    ) -> float | None:
        """Take in a tick of settled spraying.

        `inside`: the valve's own input says that it lies whole within the spraying.
        """
        self._begin_to_spray()
        waiting, self._waiting = self._waiting, None
        value = self._residual.step(seconds, flow_m3_s, pressure_pa)
        if value is not None and few_lost:
            tick = Settled(at, seconds, value, log(pressure_pa))
            if waiting is None and inside:
                waiting = tick
            else:
                self._waiting = tick
        return self._judge.judge(waiting, at) if waiting is not None else None
