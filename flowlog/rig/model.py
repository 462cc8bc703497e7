"""The rig as validated data, in SI units. Made by `flowlog.rig.reader`, read by everybody."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

Units = Literal["us", "metric"]
GaugePlace = Literal["boom", "before strainer"]


@dataclass(frozen=True, slots=True)
class Tip:
    """The nominal tip: its flow of water at a stated pressure."""

    flow_m3_s: float
    at_pressure_pa: float

    @property
    def coefficient(self) -> float:
        """Flow per square root of pressure, m3/s/Pa^0.5 (square-root law of an orifice)."""
        return float(self.flow_m3_s / self.at_pressure_pa**0.5)


@dataclass(frozen=True, slots=True)
class Boom:
    """A row of equal tips. Effective width is spacing times tips (broadcast spraying)."""

    tips: int
    spacing_m: float
    tip: Tip
    pressure_low_pa: float
    pressure_high_pa: float

    @property
    def effective_width_m(self) -> float:
        return self.tips * self.spacing_m


@dataclass(frozen=True, slots=True)
class Work:
    """What the job asks for: the label's rate at the calibrated speed."""

    rate_m3_m2: float
    speed_m_s: float
    carrier_relative_density: float = 1.0


@dataclass(frozen=True, slots=True)
class Tank:
    volume_m3: float
    low_m3: float


@dataclass(frozen=True, slots=True)
class Meter:
    """The flow sensor: pulses per volume, constant or as a curve over flow.

    `curve` is sorted by flow: (flow m3/s, pulses per m3). With a curve, `pulses_per_m3` is the
    mean of its points. Outside the curve the end values hold.
    """

    pulses_per_m3: float
    lowest_m3_s: float
    highest_m3_s: float
    curve: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Gauge:
    """The pressure transducer, as shares of the ADC's full scale (ratiometric)."""

    span_pa: float
    zero_share: float = 0.1
    span_share: float = 0.9
    """Share of the ADC's full scale at `span_pa`."""
    place: GaugePlace = "boom"
    adc_bits: int = 10
    """The board's ADC; its hello says the same."""


@dataclass(frozen=True, slots=True)
class Wheel:
    """Optional ground-speed sensor."""

    pulses_per_m: float


@dataclass(frozen=True, slots=True)
class Board:
    port: str
    baud: int = 115200


@dataclass(frozen=True, slots=True)
class Broker:
    host: str
    port: int = 1883
    user: str | None = None
    password: str | None = field(default=None, repr=False)
    tls: bool = False
    ca_file: str | None = None
    topic: str = "flowlog"
    """First level of every topic."""


@dataclass(frozen=True, slots=True)
class Page:
    """Where `flowlog serve` shows the rig's pages."""

    host: str = "127.0.0.1"
    """Numeric address to listen on; another than loopback lets others in, with a code."""
    port: int = 8733
    names: tuple[str, ...] = ()
    """Names by which others may ask for the pages, beside the machine's own."""


@dataclass(frozen=True, slots=True)
class Thresholds:
    """Where a deviation becomes an alert. Shares are fractions (0.05 is 5 %)."""

    rate_share: float = 0.10
    tip_share: float = 0.25
    """Smallest blocked part of one tip that the blocked-tip test looks for."""
    false_alarms_per_100_h: float = 0.2
    stop_pause_s: float = 180.0
    route_pause_s: float = 4 * 3600.0


@dataclass(frozen=True, slots=True)
class HealthyBoom:
    """What the boom passes with all tips clean, from a run with water.

    It holds for the meter and gauge calibrations that it was measured with: newer ones of these
    make it void.
    """

    log_conductance: float
    """ln(Q / P^0.5) of the whole boom where P at the gauge is `pressure_pa`; Q in m3/s of water,
    P in Pa."""
    u: float
    """Standard uncertainty of it, for the rig's carrier."""
    exponent: float = 0.5
    """n of Q = K * P^n. With another than 0.5, Q / P^0.5 goes with the pressure."""
    pressure_pa: float = 1.0
    """Where `log_conductance` holds; at 1 Pa it is ln K."""
    settle_s: float | None = None
    """From opening until flow over pressure is back at its level; None if it was not measured."""


@dataclass(frozen=True, slots=True)
class SupplyAnswer:
    """How this rig's supply answers a tip that passes less, from a check with one tip capped.

    It holds for the meter and gauge calibrations that it was measured with, for the rig's tips and
    for its pump.
    """

    share: float
    """By how much log pressure rises when the boom's log conductance falls by one. By noise it may
    come out a little below zero."""
    u: float
    """Standard uncertainty of it."""


@dataclass(frozen=True, slots=True)
class Rig:
    name: str
    boom: Boom
    work: Work
    meter: Meter
    gauge: Gauge
    board: Board
    tank: Tank | None = None
    wheel: Wheel | None = None
    broker: Broker | None = None
    units: Units = "us"
    thresholds: Thresholds = Thresholds()
    page: Page = Page()
    data_folder: str | None = None
    """Where the rig's data goes; None for the default of this machine."""
    answer: SupplyAnswer | None = None
    """From a calibration (`flowlog.calibration.apply`), never from the rig file."""

    @property
    def slug(self) -> str:
        """The rig's name as it stands in topics and folder names: a-z, 0-9 and hyphens."""
        kept = "".join(c if c.isascii() and c.isalnum() else "-" for c in self.name.lower())
        return "-".join(part for part in kept.split("-") if part) or "rig"

    @property
    def expected_flow_m3_s(self) -> float:
        """Boom flow that gives the asked rate at the calibrated speed."""
        return self.work.rate_m3_m2 * self.work.speed_m_s * self.boom.effective_width_m

    @property
    def nominal_conductance(self) -> float:
        """Q / P^0.5 of the boom with new tips and this carrier, m3/s/Pa^0.5."""
        return float(
            self.boom.tips * self.boom.tip.coefficient / self.work.carrier_relative_density**0.5
        )

    @property
    def expected_pressure_pa(self) -> float:
        """Pressure at the tips that gives `expected_flow_m3_s`."""
        return float((self.expected_flow_m3_s / self.nominal_conductance) ** 2)
