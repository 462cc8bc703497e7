"""Raw counts into flow and pressure, by the rig's meter and gauge."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from flowlog.physics.meter import FactorByFrequency
from flowlog.rig.model import Gauge, Meter

GaugeState = Literal["ok", "open", "short"]

_RAIL_SHARE = 0.06
"""How far beyond zero or span a ratiometric gauge may read before it is taken for a wiring
fault: 4 % and 96 % of the supply for the usual 10 to 90 % kind (trade reference of this class
of transducer; common practice, no source)."""


class FlowMeter:
    """Pulses to volume, constant or along the calibration curve."""

    def __init__(self, meter: Meter) -> None:
        self._constant = meter.pulses_per_m3
        self._curve = FactorByFrequency(meter.curve) if meter.curve else None

    def pulses_per_m3(self, hz: float) -> float:
        """Pulses per cubic metre at a pulse frequency in Hz."""
        return self._constant if self._curve is None else self._curve.at(hz)

    def pulses_per_m3_of(self, hz: NDArray[np.float64]) -> NDArray[np.float64] | float:
        """The same for many frequencies, shape (n,); one number if it is the same for all."""
        if self._curve is None:
            return self._constant
        return np.array([self._curve.at(value) for value in hz.tolist()])


@dataclass(slots=True)
class Pressure:
    """Pressure over one tick, Pa above the atmosphere."""

    mean_pa: float
    min_pa: float
    max_pa: float
    state: GaugeState


@dataclass(frozen=True, slots=True, eq=False)
class Pressures:
    """Pressures of many ticks as columns, each of shape (n,)."""

    mean_pa: NDArray[np.float64]
    min_pa: NDArray[np.float64]
    max_pa: NDArray[np.float64]
    ok: NDArray[np.bool_]
    """Between the rails."""


class PressureGauge:
    """ADC sums to pressure; knows which codes only a broken wire can give."""

    def __init__(self, gauge: Gauge, adc_bits: int) -> None:
        codes = float(1 << adc_bits)
        width = gauge.span_share - gauge.zero_share
        self._zero_code = gauge.zero_share * codes
        self._pa_per_code = gauge.span_pa / (width * codes)
        margin = _RAIL_SHARE * width / 0.8
        # A gauge whose zero lies at the rail itself leaves no room to tell a broken wire.
        self.low_code = (gauge.zero_share - margin) * codes
        self.high_code = (gauge.span_share + margin) * codes
        if self.high_code >= codes - 1:
            self.high_code = codes
        self.span_pa = gauge.span_pa
        self.pa_per_code = self._pa_per_code

    def code_at(self, pressure_pa: float) -> float:
        """The code that stands for a pressure."""
        return self._zero_code + pressure_pa / self._pa_per_code

    def read_all(
        self,
        adc_sum: NDArray[np.int64],
        adc_n: NDArray[np.int64],
        adc_min: NDArray[np.int64],
        adc_max: NDArray[np.int64],
    ) -> Pressures:
        """`read` for many ticks, each array of shape (n,)."""
        code = adc_sum / adc_n
        zero, scale = self._zero_code, self._pa_per_code
        return Pressures(
            (code - zero) * scale,
            (adc_min.astype(np.float64) - zero) * scale,
            (adc_max.astype(np.float64) - zero) * scale,
            (code >= self.low_code) & (code <= self.high_code),
        )

    def read(self, adc_sum: int, adc_n: int, adc_min: int, adc_max: int) -> Pressure:
        code = adc_sum / adc_n
        state: GaugeState = "ok"
        if code < self.low_code:
            state = "open"
        elif code > self.high_code:
            state = "short"
        return Pressure(
            (code - self._zero_code) * self._pa_per_code,
            (adc_min - self._zero_code) * self._pa_per_code,
            (adc_max - self._zero_code) * self._pa_per_code,
            state,
        )
