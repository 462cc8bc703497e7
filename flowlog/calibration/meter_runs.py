"""One run of the meter: pulses, time, and a volume that was caught or weighed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from flowlog.calibration.faults import CalibrationError
from flowlog.calibration.uncertainty import within
from flowlog.physics.water import density_kg_m3

AIR_KG_M3: Final = 1.2
WEIGHTS_KG_M3: Final = 8000.0
ASSUMED_WATER_C: Final = 15.0
"""Where no temperature was taken: 5 to 25 C is 0.2 % of the volume."""


@dataclass(frozen=True, slots=True)
class MeterRun:
    """One run: either a volume or a mass of water (with its temperature, if taken)."""

    pulses: float
    seconds: float
    volume_m3: float | None = None
    mass_kg: float | None = None
    """As the scale shows it; the buoyancy of the air is added here."""
    water_c: float | None = None
    flow_number: int | None = None
    """Which flow it belongs to. None: runs within 10 % of one another are one flow."""


@dataclass(frozen=True, slots=True)
class MeterErrors:
    """Bounds (+-). A volume has the jug's, a mass the scale's. Common practice, no source."""

    reading_m3: float = 7.4e-6
    jug_share: float = 0.02
    weighing_kg: float = 0.01
    scale_share: float = 0.002


def weighed_volume_m3(mass_kg: float, water_c: float | None = None) -> float:
    """Volume of water that a scale shows as `mass_kg`, m3.

    Water displaces air, the scale's brass or steel weights less of it, so a scale reads water
    0.105 % low; that is put back. ValueError for a temperature outside 0 to 60 C.
    """
    density = density_kg_m3(ASSUMED_WATER_C if water_c is None else water_c)
    lift = (1.0 - AIR_KG_M3 / WEIGHTS_KG_M3) / (1.0 - AIR_KG_M3 / density)
    return mass_kg * lift / density


def run_volume_m3(run: MeterRun) -> float:
    """The volume of a run. CalibrationError when it has none, two, or an impossible one."""
    if (run.volume_m3 is None) == (run.mass_kg is None):
        raise CalibrationError("meter: give each run either a volume or a mass")
    if run.volume_m3 is not None:
        return run.volume_m3
    try:
        return weighed_volume_m3(float(run.mass_kg or 0.0), run.water_c)
    except ValueError as fault:
        raise CalibrationError(f"meter: {fault}") from fault


def reading_share(run: MeterRun, volume: float, errors: MeterErrors) -> float:
    """Standard uncertainty of the run's own reading, as a share of its volume."""
    if run.mass_kg is not None:
        return within(errors.weighing_kg) / run.mass_kg
    return within(errors.reading_m3) / volume
