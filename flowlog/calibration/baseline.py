"""The baseline: a water run at three or more pressures, and the law that the boom follows.

Fitted is Q = K * P^n at the sensors. n is 0.5 unless the run says otherwise: a loss between gauge
and tips that grows as Q^2 leaves n at 0.5 and only lowers K, so that it cannot be told from
smaller tips by flow and gauge alone. It becomes known when a second gauge stood at the tips.

What counts for finding clogged tips is how well K repeats, not how true meter and gauge are:
their errors are the same tomorrow and drop out. So K's uncertainty here is that of the noise
alone, wanted at 0.3 % (u, a tenth of one blocked tip of 33).
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar, Final, Literal

import numpy as np

from flowlog.calibration.baseline_noise import Floats, Noise, Steps, noise_of
from flowlog.calibration.baseline_steps import in_seconds
from flowlog.calibration.faults import CalibrationError, Remark, percent
from flowlog.calibration.stored import Stored
from flowlog.calibration.student import t_coverage, t_tails
from flowlog.calibration.uncertainty import LEVEL, Budget, Component, budget
from flowlog.physics.tips import SQUARE_ROOT_LAW

TARGET_SHARE: Final = 0.003
"""Wanted standard uncertainty of K."""
FEWEST_PRESSURES: Final = 3
_FEWEST_S: Final = 10.0
_RANGE: Final = 1.3
"""Largest over smallest pressure, below which no exponent can be seen."""
_OFF_AT_MOST: Final = 0.1
"""Farther from 0.5 no boom is."""
_EXPONENT_WORTH: Final = 0.005
_BY_CHANCE: Final = 0.003
"""An exponent is fitted only if chance gives it in fewer cases than this."""


@dataclass(frozen=True, slots=True)
class Step:
    """The means at one pressure."""

    pressure_pa: float
    flow_m3_s: float
    seconds: float
    residual: float
    """Mean of ln Q less the law: what the fit leaves, as a share."""
    tip_pressure_pa: float | None = None


@dataclass(frozen=True, slots=True)
class BaselineResult(Stored):
    """The healthy boom."""

    kind: ClassVar[str] = "baseline"
    EVIDENCE: ClassVar[frozenset[str]] = frozenset({"steps", "relative_density", "tick_s"})
    UNCERTAINTY: ClassVar[frozenset[str]] = frozenset(
        {"flow", "exponent_u", "target_share", "line_loss_u_pa_s2_m6"}
    )

    steps: tuple[Step, ...]
    relative_density: float
    """Of what was sprayed; 1 for water."""
    tick_s: float
    coefficient: float
    """K, m3/s/Pa^exponent."""
    exponent: float
    exponent_was: Literal["fixed", "fitted"]
    fitted_exponent: float
    """What the fit gives when it is free, used or not."""
    exponent_u: float
    """Of `fitted_exponent`."""
    centre_pa: float
    """The pressure (geometric mean) at which K is known best."""
    flow: Budget
    """Flow at `centre_pa`; its relative uncertainty is K's there."""
    target_share: float
    noise: Noise
    line_loss_pa_s2_m6: float | None
    """Between gauge and tips, P = P_tip + r * Q^2; None where no gauge stood at the tips."""
    line_loss_u_pa_s2_m6: float | None
    settle_s: float | None
    """From opening until flow over pressure is back at its level; None if no opening was seen."""
    remarks: tuple[Remark, ...] = ()

    @property
    def good_enough(self) -> bool:
        return self.flow.relative <= self.target_share

    @property
    def seconds(self) -> float:
        """Settled spraying that the fit is from."""
        return math.fsum(step.seconds for step in self.steps)

    @property
    def seconds_wanted(self) -> float:
        """Settled spraying still missing to the target, s; 0 when it is met."""
        more = (self.flow.relative / self.target_share) ** 2 - 1.0
        return max(self.seconds * more, 0.0)

    def flow_at(self, pressure_pa: float) -> float:
        """Healthy flow at a pressure, m3/s."""
        return float(self.coefficient * pressure_pa**self.exponent)


def baseline(
    flow_m3_s: Floats,
    pressure_pa: Floats,
    step: Steps,
    *,
    tick_s: float,
    tip_pressure_pa: Sequence[float] | None = None,
    settle_s: float | None = None,
    relative_density: float = 1.0,
    exponent: float | None = None,
    target_share: float = TARGET_SHARE,
) -> BaselineResult:
    """Fit the law to a run.

    Args:
        flow_m3_s: one value a tick, shape (n,).
        pressure_pa: the same, at the gauge; delayed as the meter delays the flow if that is known.
        step: which pressure a tick belongs to, 0, 1, 2 ...; -1 for ticks to leave out (the boom
            shut or settling, the pressure being changed). See `steps_of`.
        tick_s: length of a tick.
        tip_pressure_pa: one value for each step, from a gauge at a tip; for the line's loss.
        settle_s: as measured by `settle_time_s`; kept with the result.
        relative_density: of what is sprayed.
        exponent: None lets the run decide between 0.5 and a fitted one.
        target_share: wanted relative standard uncertainty of K.

    Raises:
        CalibrationError: fewer than three pressures, too little of one, pressures too near one
            another, no flow, or an exponent that no boom has.
    """
    flow, pressure = np.asarray(flow_m3_s, np.float64), np.asarray(pressure_pa, np.float64)
    numbers = np.asarray(step)
    if not flow.shape == pressure.shape == numbers.shape or flow.ndim != 1:
        raise ValueError("flow, pressure and step must be of one length")
    flow, pressure, numbers, second_s = in_seconds(flow, pressure, numbers, tick_s)
    use = (flow > 0.0) & (pressure > 0.0)
    found = np.unique(numbers).tolist()
    _refuse(found, numbers, use, second_s)
    means = [
        (float(np.mean(np.log(pressure[here]))), float(np.mean(np.log(flow[here]))),
         int(np.count_nonzero(here)) * second_s)
        for here in (use & (numbers == number) for number in found)
    ]  # fmt: skip
    x, y, seconds = (np.array(column) for column in zip(*means, strict=True))
    if math.exp(x.max() - x.min()) < _RANGE:
        raise CalibrationError(
            f"baseline: the pressures differ by {percent(math.expm1(x.max() - x.min()), 0)} only "
            "(take the lower end, the middle and the upper end of the tip's band)"
        )
    centre = float(np.average(x, weights=seconds))
    around = x - centre
    free = float(np.sum(seconds * around * y) / np.sum(seconds * around**2))
    noise = noise_of(np.log(flow[use]) - free * np.log(pressure[use]), numbers[use], second_s)
    exponent_u = math.sqrt(noise.density_s / float(np.sum(seconds * around**2)))
    used, was = _exponent(free, exponent_u, noise.dof, exponent)
    level = float(np.average(y - used * around, weights=seconds))
    # What the law leaves at the steps is evidence too: it counts with the noise.
    rest = y - level - used * around
    left = len(found) - (2 if was == "fitted" else 1)
    dof = noise.dof + left
    density = (noise.dof * noise.density_s + float(np.sum(rest**2 * seconds))) / dof
    u = math.sqrt(density / float(np.sum(seconds)))
    steps = tuple(
        Step(
            math.exp(x[i]), math.exp(y[i]), float(seconds[i]),
            float(rest[i]),
            None if tip_pressure_pa is None else float(tip_pressure_pa[i]),
        )
        for i in range(len(found))
    )  # fmt: skip
    value = math.exp(level)
    loss, loss_u = _line_loss(steps)
    result = BaselineResult(
        steps=steps,
        relative_density=relative_density,
        tick_s=tick_s,
        coefficient=math.exp(level - used * centre),
        exponent=used,
        exponent_was=was,
        fitted_exponent=free,
        exponent_u=exponent_u,
        centre_pa=math.exp(centre),
        flow=budget(
            "healthy flow", value, "flow",
            [Component("noise of flow and pressure", value, value * u, value * u, dof,
                       "flow")],
        ),
        target_share=target_share,
        noise=noise,
        line_loss_pa_s2_m6=loss,
        line_loss_u_pa_s2_m6=loss_u,
        settle_s=settle_s,
    )  # fmt: skip
    return dataclasses.replace(result, remarks=_remarks(result))


def for_carrier(result: BaselineResult, relative_density: float) -> BaselineResult:
    """The baseline of the same boom with another liquid, its density given.

    An orifice's flow goes with 1 / density^0.5 at one pressure.
    """
    if not relative_density > 0.0:
        raise CalibrationError(f"relative density: {relative_density:g} is not more than zero")
    factor = (result.relative_density / relative_density) ** 0.5
    parts = tuple(
        dataclasses.replace(
            part, value=part.value * factor, u=part.u * factor,
            contribution=part.contribution * factor,
        )
        for part in result.flow.components
    )  # fmt: skip
    flow = dataclasses.replace(result.flow, value=result.flow.value * factor, components=parts)
    return dataclasses.replace(
        result,
        coefficient=result.coefficient * factor,
        relative_density=relative_density,
        flow=flow,
    )


def learnt_density(water: BaselineResult, mix: BaselineResult) -> tuple[float, float]:
    """Relative density of a mix from its own baseline beside the water's, and its uncertainty.

    Valid while the tips are as they were and the mix is about as thin as water: a clogged tip or
    a thick mix would be taken for density.
    """
    ratio = water.flow_at(mix.centre_pa) / mix.flow.value
    density = water.relative_density * ratio**2
    return density, 2.0 * density * math.hypot(water.flow.relative, mix.flow.relative)


def _refuse(
    found: Sequence[int],
    numbers: Steps,
    use: np.ndarray[tuple[int], np.dtype[np.bool_]],
    tick_s: float,
) -> None:
    if len(found) < FEWEST_PRESSURES:
        raise CalibrationError(
            f"baseline: {len(found)} pressures (at least {FEWEST_PRESSURES} are wanted)"
        )
    for number in found:
        here = numbers == number
        good = int(np.count_nonzero(here & use))
        if good == 0:
            raise CalibrationError(f"pressure {number + 1}: no flow or no pressure (boom shut?)")
        if good * tick_s < _FEWEST_S:
            raise CalibrationError(
                f"pressure {number + 1}: {good * tick_s:.0f} s of settled spraying "
                f"(at least {_FEWEST_S:.0f} s, better a minute)"
            )
        if good < 0.9 * np.count_nonzero(here):
            raise CalibrationError(
                f"pressure {number + 1}: the flow stops again and again (air, or the meter sticks)"
            )


def _exponent(
    free: float, u: float, dof: float, wanted: float | None
) -> tuple[float, Literal["fixed", "fitted"]]:
    if wanted is not None:
        return wanted, "fixed"
    off = abs(free - SQUARE_ROOT_LAW)
    if off <= _EXPONENT_WORTH or t_tails(off / u, dof) > _BY_CHANCE:
        return SQUARE_ROOT_LAW, "fixed"
    if off > _OFF_AT_MOST + t_coverage(LEVEL, dof) * u:
        raise CalibrationError(
            f"baseline: flow goes with pressure to the power {free:.2f}, and a boom's is near 0.5 "
            "(calibrate the gauge's zero first; are all check valves open, is there air?)"
        )
    return free, "fitted"


def _line_loss(steps: Sequence[Step]) -> tuple[float | None, float | None]:
    """r of P = P_tip + r Q^2 by least squares of the loss over Q^2, and its uncertainty."""
    if any(step.tip_pressure_pa is None for step in steps):
        return None, None
    squares = np.array([step.flow_m3_s**2 for step in steps])
    lost = np.array([step.pressure_pa - (step.tip_pressure_pa or 0.0) for step in steps])
    below = float(np.sum(squares**2))
    loss = float(np.sum(lost * squares)) / below
    rest = float(np.sum((lost - loss * squares) ** 2)) / (len(steps) - 1)
    return loss, math.sqrt(rest / below)


def _remarks(result: BaselineResult) -> tuple[Remark, ...]:
    remarks = []
    if not result.good_enough:
        remarks.append(
            Remark(
                "target",
                f"K is known to {percent(result.flow.relative, 2)} (u), wanted "
                f"{percent(result.target_share)}: spray {result.seconds_wanted:.0f} s more",
            )
        )
    if result.exponent_was == "fitted":
        remarks.append(
            Remark(
                "exponent",
                f"the exponent is {result.exponent:.3f}, not 0.5: the gauge's zero, a loss that "
                "does not grow with the square of the flow, or check valves",
            )
        )
    if result.line_loss_pa_s2_m6 is None:
        remarks.append(
            Remark(
                "line-loss",
                "the loss between gauge and tips cannot be told from the tips without a gauge at "
                "a tip; it is part of K",
            )
        )
    elif result.line_loss_pa_s2_m6 < 0.0:
        remarks.append(
            Remark("line-loss", "more pressure at the tips than at the gauge: check both gauges")
        )
    worst = max(result.steps, key=lambda one: abs(one.residual))
    allowed = max(4.0 * math.sqrt(result.noise.density_s / worst.seconds), 0.01)
    if abs(worst.residual) > allowed:
        number = result.steps.index(worst) + 1
        remarks.append(
            Remark("residual", f"pressure {number} is {percent(worst.residual)} off the law")
        )
    return tuple(remarks)
