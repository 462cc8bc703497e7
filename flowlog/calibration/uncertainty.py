"""Uncertainty budgets after JCGM 100:2008 (the GUM).

A budget is a value and what makes it doubtful, each as its contribution |dy/dx| * u(x) in the
result's own unit. Independent contributions add as squares (5.1.2); what is common to several
readings, such as the scale of the one jug that all tips were caught with, is one component and
does not average. Few runs give few degrees of freedom; Welch and Satterthwaite's formula (G.4.1)
brings them together and Student's t widens the interval accordingly.

Intervals are at the level of two standard deviations, 95.45 %, "about 95 %": the coverage factor
is 2.00 when there are many degrees of freedom (G.6.6 and table G.2). Where a single bound has more
than two thirds of the variance, the result is no longer normal and 2 would cover nearly all; the
factor is then that of a rectangular and a normal distribution together (G.1.5 asks for it).
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import NormalDist
from typing import Final

from flowlog.calibration.student import t_coverage
from flowlog.units import Kind, Units, display_unit, number_in, show

LEVEL: Final = math.erf(math.sqrt(2.0))
"""95.45 %."""
_RULES: Final = 2.0 / 3.0
"""Share of the variance from which a single bound decides the shape of the distribution."""


@dataclass(frozen=True, slots=True)
class Component:
    """One cause of doubt.

    `contribution` is signed, so that what is common to two results can cancel in their quotient.
    """

    name: str
    value: float
    """What was measured or assumed, in SI."""
    u: float
    """Its standard uncertainty, same unit."""
    contribution: float
    """dy/dx * u, in the unit of the result."""
    dof: float = math.inf
    kind: Kind | None = None
    """What `value` and `u` are, for display; None for a bare number."""
    common: bool = False
    """True when the same error is in other results too, under the same name."""
    bound: bool = False
    """True when `u` is from a bound (+-a) of which no more is known: rectangular."""


@dataclass(frozen=True, slots=True)
class Budget:
    """A value with its components, largest contribution first."""

    name: str
    value: float
    kind: Kind | None
    components: tuple[Component, ...]

    @property
    def u(self) -> float:
        """Combined standard uncertainty, unit of `value`."""
        return math.hypot(*(part.contribution for part in self.components))

    @property
    def relative(self) -> float:
        """u / |value|; nan for a value of zero."""
        return self.u / abs(self.value) if self.value else math.nan

    @property
    def dof(self) -> float:
        """Effective degrees of freedom (JCGM 100 G.2b)."""
        below = sum(
            part.contribution**4 / part.dof for part in self.components if not math.isinf(part.dof)
        )
        return self.u**4 / below if below > 0.0 else math.inf

    @property
    def coverage(self) -> float:
        """Factor k between u and `expanded`."""
        first = self.components[0] if self.components else None
        if first is None or not first.bound or self.shares()[0] <= _RULES:
            return t_coverage(LEVEL, self.dof)
        rest = Budget("", 0.0, None, self.components[1:])
        half_width = abs(first.contribution) * math.sqrt(3.0)
        return bounded_half_width(half_width, rest.u * rest.coverage / 2.0) / self.u

    @property
    def expanded(self) -> float:
        """Half-width of the interval that covers about 95 %, unit of `value`."""
        return self.coverage * self.u

    @property
    def expanded_relative(self) -> float:
        return self.coverage * self.relative

    @property
    def interval(self) -> tuple[float, float]:
        return self.value - self.expanded, self.value + self.expanded

    def covers(self, truth: float) -> bool:
        return abs(truth - self.value) <= self.expanded

    def shares(self) -> tuple[float, ...]:
        """Each component's part of the variance; they add up to 1 (or all are 0)."""
        total = self.u**2
        return tuple(part.contribution**2 / total if total else 0.0 for part in self.components)

    def rows(self, units: Units = "us") -> list[tuple[str, str, str, str]]:
        """The table as text: (name, value, u, share of the variance), the result last."""
        rows = [
            (part.name, *_written(part.value, part.u, part.kind, units), f"{100 * share:.0f} %")
            for part, share in zip(self.components, self.shares(), strict=True)
        ]
        return [*rows, (self.name, *_written(self.value, self.u, self.kind, units), "100 %")]


def budget(name: str, value: float, kind: Kind | None, components: Iterable[Component]) -> Budget:
    """A budget of the components that contribute, in the order of their size."""
    kept = [part for part in components if part.contribution != 0.0]
    kept.sort(key=lambda part: -abs(part.contribution))
    return Budget(name, value, kind, tuple(kept))


def power(
    name: str,
    value: float,
    u: float,
    result: float,
    exponent: float = 1.0,
    *,
    dof: float = math.inf,
    kind: Kind | None = None,
    common: bool = False,
    bound: bool = False,
) -> Component:
    """A component of a product of powers: result ~ value^exponent (JCGM 100, 5.1.6)."""
    return Component(name, value, u, result * exponent * u / value, dof, kind, common, bound)


def combine(
    name: str, value: float, kind: Kind | None, factors: Sequence[tuple[Budget, float]]
) -> Budget:
    """The budget of a product of results, each to its power.

    Components marked `common` that appear under one name in several factors are one error: their
    relative contributions add with their signs before they are squared. So the scale of the jug
    drops out of the quotient of two catches.
    """
    apart: list[Component] = []
    shared: dict[str, Component] = {}
    for factor, exponent in factors:
        for part in factor.components:
            amount = value * exponent * part.contribution / factor.value
            if part.common and part.name in shared:
                amount += shared[part.name].contribution
            moved = dataclasses.replace(part, contribution=amount)
            if part.common:
                shared[part.name] = moved
            else:
                apart.append(moved)
    return budget(name, value, kind, [*apart, *shared.values()])


def within(half_width: float) -> float:
    """Standard uncertainty of "+-a and no more is known" (rectangular; JCGM 100, 4.3.7)."""
    return half_width / math.sqrt(3.0)


def bounded_half_width(half_width: float, s: float) -> float:
    """Half-width of the central interval of a bound +-a and a normal error s, at `LEVEL`."""
    if s <= 1e-9 * half_width:
        return LEVEL * half_width
    normal = NormalDist()

    def below(x: float) -> float:  # the integral of the normal distribution function
        return x * normal.cdf(x) + normal.pdf(x)

    def inside(c: float) -> float:
        up, down = (c + half_width) / s, (c - half_width) / s
        return (below(up) - below(down)) * s / half_width - 1.0

    low, high = 0.0, half_width + 10.0 * s
    for _ in range(60):
        middle = 0.5 * (low + high)
        if inside(middle) < LEVEL:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def counted(pulses: float) -> float:
    """Standard uncertainty of a count that is off by up to one at random (triangular; 4.3.9)."""
    return 1.0 / math.sqrt(6.0) if pulses > 0 else 0.0


@dataclass(frozen=True, slots=True)
class Prior:
    """What is known of a scatter before the first run: a standard deviation worth `dof` runs.

    Two runs alone have one degree of freedom, and t is 13.97 then: an interval of no use. Other
    people's runs on the same kind of work are knowledge too (a pooled estimate, JCGM 100, 4.2.4).
    """

    s: float
    dof: float


def pooled(groups: Iterable[Sequence[float]], prior: Prior | None = None) -> tuple[float, float]:
    """Standard deviation within groups, pooled with a prior, and its degrees of freedom.

    `prior.s` is in the unit of the values. (nan, 0) where neither runs nor prior say anything.
    """
    squares = prior.dof * prior.s**2 if prior else 0.0
    dof = prior.dof if prior else 0.0
    for group in groups:
        if len(group) > 1:
            mean = math.fsum(group) / len(group)
            squares += math.fsum((value - mean) ** 2 for value in group)
            dof += len(group) - 1
    return (math.sqrt(squares / dof), dof) if dof > 0 else (math.nan, 0.0)


def scatter_beyond(
    groups: Iterable[Sequence[float]], prior: Prior, known_u: float
) -> tuple[float, float]:
    """Scatter of runs beyond what is in the budget already, and its degrees of freedom.

    What runs scatter by contains the error of reading each (`known_u`); taken as it is it would
    count that twice. `prior.s` is without it. The degrees of freedom are those with which the
    difference of the variances is known, so that Welch and Satterthwaite's sum stays right.
    """
    whole = Prior(math.hypot(prior.s, known_u), prior.dof)
    s, dof = pooled(groups, whole)
    rest = math.sqrt(max(s**2 - known_u**2, 0.0))
    return (rest, dof * (rest / s) ** 4) if rest > 0.0 else (0.0, math.inf)


def _written(value: float, u: float, kind: Kind | None, units: Units) -> tuple[str, str]:
    if kind is None:
        return f"{value:.6g}", f"{u:.2g}"
    unit = display_unit(kind, units)
    if kind == "share" and unit == "%":
        return f"{100 * value:.3g} %", f"{100 * u:.2g} %"
    return show(value, kind, units), f"{number_in(u, kind, unit):.2g} {unit}".rstrip()
