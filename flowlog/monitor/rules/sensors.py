"""Faults of the flow sensor and of the gauge themselves."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from flowlog.monitor.alerts import AlertBook, Size
from flowlog.monitor.rules.latch import Latch
from flowlog.monitor.rules.moment import Moment
from flowlog.monitor.rules.stretch import Stretch, first
from flowlog.monitor.sample_faults import Onset
from flowlog.rig.model import Rig
from flowlog.units import show

_OVER = 1.3
_BACK = 1.1
"""Above 1.3 times the highest flow of its range a turbine's rotor cannot follow."""


class MeterFaults:
    """A silent flow sensor, and one that counts what cannot be."""

    def __init__(self, rig: Rig, book: AlertBook) -> None:
        self._rig = rig
        self._book = book
        self._highest = rig.meter.highest_m3_s
        self._flowing = 0.1 * rig.expected_flow_m3_s
        self._silent = Latch(0.0, 1.0)
        self._wild = Latch(1.0, 3.0)
        self.ok = True

    def silent(self, onset: Onset) -> None:
        """No pulses though the boom is open and under pressure."""
        if self._silent.open(onset.since):
            text = f"No pulses at {show(onset.pressure_pa, 'pressure', self._rig.units)}."
            self._book.open("meter_silent", onset.at, onset.since, text)
        self.ok = False

    def step(self, now: Moment) -> None:
        if self._silent.active:
            self._step_silent(now)
        wild = now.step.mean_flow_m3_s > _OVER * self._highest
        if wild or self._wild.busy:
            self._step_wild(now, wild=wild)
        self.ok = not (self._silent.active or self._wild.active)

    def look(self, ahead: Stretch) -> int:
        """How many ticks of many pass without a turn; see `flowlog.monitor.rules.stretch`."""
        if self._silent.active or self._wild.busy:
            return 0
        wild = ahead.steps.mean_flow_m3_s > _OVER * self._highest
        return first(wild | (ahead.column("doubt") != 0))

    def _step_silent(self, now: Moment) -> None:
        good = now.step.mean_flow_m3_s > self._flowing
        if self._silent.step(now.at, now.step.seconds, bad=False, good=good) == "cleared":
            self._book.clear("meter_silent", now.at, "Pulses again.")

    def _step_wild(self, now: Moment, *, wild: bool) -> None:
        flow = now.step.mean_flow_m3_s
        good = flow < _BACK * self._highest
        turn = self._wild.step(now.at, now.step.seconds, bad=wild, good=good)
        if turn == "opened":
            text = (
                f"{show(flow, 'flow', self._rig.units)} by its pulses, "
                f"but its range ends at {show(self._highest, 'flow', self._rig.units)}."
            )
            since = self._wild.since or now.at
            self._book.open("meter_implausible", now.at, since, text, Size(flow, "m3/s"))
        elif turn == "cleared":
            self._book.clear("meter_implausible", now.at, "Back within its range.")


class GaugeFaults:
    """Open or shorted signal, a gauge that does not move, a reading below zero."""

    def __init__(self, rig: Rig, book: AlertBook) -> None:
        self._rig = rig
        self._book = book
        self._rails = {
            "gauge_open": Latch(0.0, 2.0),
            "gauge_short": Latch(0.0, 2.0),
        }
        self._below = Latch(5.0, 5.0)
        self._stuck = Latch(3.0, 1.0)
        self._frozen_s = 0.0
        self._resting_pa: float | None = None
        self._has_moved = False
        self._next: tuple[float, float | None, bool] = (0.0, None, False)
        self.ok = True

    def at_rail(self, onset: Onset) -> None:
        """The signal lies where only a broken wire can bring it."""
        if self._rails[onset.code].open(onset.since):
            where = "below" if onset.code == "gauge_open" else "above"
            text = f"The gauge's signal lies {where} anything that a whole gauge can give."
            self._book.open(onset.code, onset.at, onset.since, text)
        self.ok = False

    def step(self, now: Moment) -> None:
        if now.pressure is None:
            return
        if not self.ok:
            self._step_rails(now)
        self._step_below(now)
        self._step_stuck(now)
        self.ok = not (self._below.active or self._stuck.active or self._railed)

    @property
    def whole(self) -> bool:
        """Neither broken nor stuck; a reading below zero may be a matter of its zero."""
        return not (self._stuck.active or self._railed)

    @property
    def _railed(self) -> bool:
        return any(latch.active for latch in self._rails.values())

    def look(self, ahead: Stretch) -> int:
        """How many ticks of many pass without a turn; see `flowlog.monitor.rules.stretch`."""
        self._next = (self._frozen_s, self._resting_pa, self._has_moved)
        pressures = ahead.pressures
        if pressures is None:
            return len(ahead)
        if self._railed or self._below.busy or self._stuck.busy:
            return 0
        span = self._rig.gauge.span_pa
        wrong = first(~pressures.ok | (pressures.mean_pa < -0.025 * span))
        return min(wrong, self._look_stuck(ahead, pressures.mean_pa, 0.03 * span))

    def _look_stuck(self, ahead: Stretch, pressure_pa: NDArray[np.float64], moving: float) -> int:
        spraying = ahead.phases.spraying
        still = spraying & (ahead.column("adc_min") == ahead.column("adc_max"))
        off = ahead.phases.off & (ahead.steps.pulses == 0)
        if self._has_moved and not still.any() and not off.any():
            self._next = (0.0, self._resting_pa, True)
            return len(ahead)
        at_boom = self._rig.gauge.place == "boom"
        flowing = spraying & (ahead.steps.mean_flow_m3_s > 0.5 * self._rig.expected_flow_m3_s)
        frozen_s, resting_pa, has_moved = self._next
        offs, shut = off.tolist(), np.flatnonzero(off)
        columns = (pressure_pa, ahead.steps.seconds, flowing, still)
        rows = [column.tolist() for column in columns]
        quiet = not still.any()
        if quiet:
            frozen_s = 0.0
        i, n = 0, len(ahead)
        while i < n:
            if quiet and has_moved:
                # Until the boom is shut again there is nothing to see.
                later = int(np.searchsorted(shut, i))
                if later == len(shut):
                    break
                i = int(shut[later])
            pressure, seconds, is_flowing, is_still = (column[i] for column in rows)
            if offs[i]:
                resting_pa = pressure if at_boom else None
                has_moved = False
            elif not has_moved:
                has_moved = resting_pa is None or abs(pressure - resting_pa) > moving
            frozen_s = frozen_s + seconds if is_still else 0.0
            asleep = resting_pa is not None and not has_moved and is_flowing
            if asleep or frozen_s > 10.0:
                return i
            i += 1
        self._next = (frozen_s, resting_pa, has_moved)
        return len(ahead)

    def go_on(self) -> None:
        """Go on behind the ticks that the last `look` saw, all of them."""
        self._frozen_s, self._resting_pa, self._has_moved = self._next

    def _step_rails(self, now: Moment) -> None:
        good = now.pressure_pa is not None
        for code, latch in self._rails.items():
            if latch.active and latch.step(now.at, now.step.seconds, bad=False, good=good):
                self._book.clear(code, now.at, "The gauge's signal is back.")

    def _step_below(self, now: Moment) -> None:
        pressure = now.pressure_pa
        if pressure is None:
            return
        span = self._rig.gauge.span_pa
        if pressure > 0.0 and not self._below.busy:
            return
        # Of a zero that was found to have moved nobody wants to be told in each pause.
        bad = pressure < -0.025 * span and not self._book.is_open("gauge_drift")
        turn = self._below.step(now.at, now.step.seconds, bad=bad, good=pressure > -0.01 * span)
        if turn == "opened":
            text = f"The gauge reads {show(pressure, 'pressure', self._rig.units)}, below zero."
            self._book.open("gauge_implausible", now.at, self._below.since or now.at, text)
        elif turn == "cleared":
            self._book.clear("gauge_implausible", now.at, "The gauge reads above zero again.")

    def _step_stuck(self, now: Moment) -> None:
        pressure = now.pressure_pa
        if pressure is None:
            return
        span = self._rig.gauge.span_pa
        moved = self._resting_pa is None or abs(pressure - self._resting_pa) > 0.03 * span
        if now.phase == "off" and now.step.pulses == 0:
            # Only a gauge at the boom falls when the boom is shut.
            self._resting_pa = pressure if self._rig.gauge.place == "boom" else None
            self._has_moved = False
        elif moved:
            self._has_moved = True
        # Ripple and the last bit of the ADC move every live signal within ten seconds.
        still = now.phase == "spraying" and now.tick.adc_min == now.tick.adc_max
        self._frozen_s = self._frozen_s + now.step.seconds if still else 0.0
        # An empty boom rests at its check valves' pressure, open or shut: only a boom that
        # passes its flow must have a pressure, and one that was seen to rise shows a whole gauge.
        flowing = now.step.mean_flow_m3_s > 0.5 * self._rig.expected_flow_m3_s
        asleep = self._resting_pa is not None and not self._has_moved and flowing
        bad = now.phase == "spraying" and (asleep or self._frozen_s > 10.0)
        if not bad and not self._stuck.busy:
            return
        turn = self._stuck.step(now.at, now.step.seconds, bad=bad, good=moved and not still)
        if turn == "opened":
            text = (
                f"The gauge stays at {show(pressure, 'pressure', self._rig.units)} "
                "whether the boom sprays or not."
            )
            self._book.open("gauge_stuck", now.at, self._stuck.since or now.at, text)
        elif turn == "cleared":
            self._book.clear("gauge_stuck", now.at, "The gauge moves again.")
