"""Views for a person with an SQL shell: local units, times as ISO text in UTC.

Factors are exact by definition of the units (international foot, pound and US gallon).
"""

from __future__ import annotations

from typing import Final

GALLON_M3: Final = 3.785411784e-3
PSI_PA: Final = 6894.757293168361
FT2_M2: Final = 0.09290304
MPH_M_S: Final = 0.44704


def utc(column: str) -> str:
    """SQL (SQLite) for a wall time in microseconds as `2026-05-04T13:07:09.250Z`."""
    seconds = f"strftime('%Y-%m-%dT%H:%M:%S', {column} / 1000000, 'unixepoch')"
    return f"{seconds} || printf('.%03dZ', {column} / 1000 % 1000)"


def _readings(name: str, converted: str) -> str:
    return (
        f"CREATE VIEW {name} AS SELECT route_id, {utc('wall_us')} AS time_utc, phase, seconds, "
        f"{converted}, conductance_share, pulses, samples, lost, segment, seq, t_us FROM readings"
    )


VIEWS: Final[dict[str, str]] = {
    "readings_us": _readings(
        "readings_us",
        f"flow_m3_s * 60 / {GALLON_M3} AS flow_gal_min, "
        f"pressure_pa / {PSI_PA} AS pressure_psi, "
        f"pressure_min_pa / {PSI_PA} AS pressure_min_psi, "
        f"pressure_max_pa / {PSI_PA} AS pressure_max_psi, "
        f"rate_m3_m2 * 1000 * {FT2_M2} / {GALLON_M3} AS rate_gal_1000ft2, "
        f"speed_m_s / {MPH_M_S} AS speed_mph, "
        f"volume_m3 / {GALLON_M3} AS volume_gal, "
        f"area_m2 / {FT2_M2} AS area_ft2, "
        f"tank_m3 / {GALLON_M3} AS tank_gal",
    ),
    "readings_metric": _readings(
        "readings_metric",
        "flow_m3_s * 60000 AS flow_l_min, "
        "pressure_pa / 1e5 AS pressure_bar, "
        "pressure_min_pa / 1e5 AS pressure_min_bar, "
        "pressure_max_pa / 1e5 AS pressure_max_bar, "
        "rate_m3_m2 * 1e7 AS rate_l_ha, "
        "speed_m_s * 3.6 AS speed_km_h, "
        "volume_m3 * 1000 AS volume_l, "
        "area_m2, "
        "tank_m3 * 1000 AS tank_l",
    ),
    "events_utc": (
        f"CREATE VIEW events_utc AS SELECT id, route_id, {utc('wall_us')} AS time_utc, "
        f"{utc('since_wall_us')} AS since_utc, change, code, text, size, size_low, size_high, "
        "size_unit, checks, alert, source, uid FROM events"
    ),
    "routes_utc": (
        f"CREATE VIEW routes_utc AS SELECT id, uid, name, {utc('began_wall_us')} AS began_utc, "
        f"{utc('ended_wall_us')} AS ended_utc FROM routes"
    ),
}
