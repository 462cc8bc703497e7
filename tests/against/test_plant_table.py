"""Five supplies and nine faults against a table of changes that was computed independently.

Source of the table: solved beforehand by scalar bisection of the same equations, in psi and
gal/min, by another program; its pump parameters are plausible values, common practice, no source.
The equations themselves are physics: continuity, square-root law, quadratic losses.
"""

import pytest

from flowlog.physics.network import operating_point
from flowlog.simulator.supply import GAL_MIN, PSI, reference_supply, reference_tips

FAMILIES = ("demand", "demand relief", "roller", "roller throttled", "centrifugal")

BASELINE = {  # gal/min, psi
    "demand": (3.51, 54.8),
    "demand relief": (2.94, 38.5),
    "roller": (6.39, 39.9),
    "roller throttled": (6.45, 40.6),
    "centrifugal": (6.44, 40.5),
}

# Change in % of flow, gauge pressure, conductance Q/sqrt(P), and flow of each healthy tip.
TABLE = {
    "one tip blocked": (
        (-13.1, 8.6, -16.7, 4.2),
        (-15.6, 2.6, -16.7, 1.3),
        (-11.4, 2.5, -12.5, 1.2),
        (-4.3, 19.6, -12.5, 9.4),
        (-8.7, 8.9, -12.5, 4.3),
    ),
    "one tip half blocked": (
        (-5.6, 6.0, -8.3, 2.9),
        (-7.7, 1.3, -8.3, 0.7),
        (-5.7, 1.2, -6.2, 0.6),
        (-2.0, 9.2, -6.2, 4.5),
        (-4.2, 4.4, -6.2, 2.2),
    ),
    "all tips worn by 10 %": (
        (6.3, -6.7, 10.0, -3.4),
        (9.1, -1.6, 10.0, -0.8),
        (8.9, -2.0, 10.0, -1.0),
        (2.9, -12.5, 10.0, -6.5),
        (6.2, -6.8, 10.0, -3.5),
    ),
    "one tip missing": (
        (39.5, -42.1, 83.0, -23.9),
        (66.4, -17.7, 83.0, -9.3),
        (35.2, -30.8, 62.5, -16.8),
        (13.0, -51.7, 62.5, -30.5),
        (29.7, -36.3, 62.5, -20.2),
    ),
    "leak after the meter": (
        (10.2, -10.8, 16.7, -5.6),
        (15.1, -2.6, 16.7, -1.3),
        (11.1, -2.5, 12.5, -1.2),
        (3.5, -15.3, 12.5, -8.0),
        (7.6, -8.4, 12.5, -4.3),
    ),
    "leak before the meter": (
        (-5.4, -10.6, 0.0, -5.4),
        (-1.0, -2.1, 0.0, -1.0),
        (-0.9, -1.8, 0.0, -0.9),
        (-8.0, -15.3, 0.0, -8.0),
        (-1.3, -2.5, 0.0, -1.3),
    ),
    "line strainer clogged": (
        (-4.9, -9.5, 0.0, -4.9),
        (-6.7, -13.0, 0.0, -6.7),
        (-10.5, -19.9, 0.0, -10.5),
        (-3.9, -7.7, 0.0, -3.9),
        (-45.8, -70.6, 0.0, -45.8),
    ),
    "restriction after the gauge": (
        (-2.1, 2.3, -3.2, -2.1),
        (-3.0, 0.5, -3.2, -3.0),
        (-11.5, 2.5, -12.5, -11.5),
        (-4.3, 19.7, -12.5, -4.3),
        (-8.7, 8.9, -12.5, -8.7),
    ),
    "pump at 70 %": (
        (-13.0, -24.4, 0.0, -13.0),
        (-3.0, -6.0, 0.0, -3.0),
        (-6.2, -12.0, 0.0, -6.2),
        (-28.0, -48.2, 0.0, -28.0),
        (-3.9, -7.7, 0.0, -3.9),
    ),
}


def _solve(family, fault=None):
    """Flow, gauge pressure, conductance and flow of one healthy tip."""
    tips, each = reference_tips(family)
    tip = each * GAL_MIN / (40 * PSI) ** 0.5
    supply = reference_supply(family)
    total, line = tips * tip, supply.line_loss
    changes = {
        None: {},
        "one tip blocked": {"tips": total - tip},
        "one tip half blocked": {"tips": total - 0.5 * tip},
        "all tips worn by 10 %": {"tips": total * 1.1},
        "one tip missing": {"tips": total + 5 * tip},
        "leak after the meter": {"leak_down": tip},
        "leak before the meter": {"leak_up": tip},
        "line strainer clogged": {"line_loss": 10 * line},
        "restriction after the gauge": {"branch_loss": 0.3 * PSI / GAL_MIN**2},
        "pump at 70 %": {"delivery": 0.7},
    }[fault]
    arguments = {"tips": total, "line_loss": line, "check_pa": 8 * PSI, **changes}
    point = operating_point(supply.pump, arguments.pop("tips"), **arguments)
    flow, pressure = float(point.flow_m3_s), float(point.gauge_pa)
    healthy = tip * float(point.tip_pa) ** 0.5
    # A worn set has no unworn tip left to look at: the table's last column is the pressure's part.
    return flow, pressure, flow / pressure**0.5, healthy


@pytest.mark.parametrize("family", FAMILIES)
def test_baseline_flow_and_pressure(family):
    flow, pressure, _, _ = _solve(family)
    assert flow / GAL_MIN == pytest.approx(BASELINE[family][0], abs=0.01)
    assert pressure / PSI == pytest.approx(BASELINE[family][1], abs=0.06)


@pytest.mark.parametrize("fault", TABLE)
@pytest.mark.parametrize("family", FAMILIES)
def test_change_of_flow_pressure_conductance_and_healthy_tips(family, fault):
    printed = TABLE[fault][FAMILIES.index(family)]
    before, after = _solve(family), _solve(family, fault)
    changes = [100 * (b / a - 1) for a, b in zip(before, after, strict=True)]
    # Required within 1 percentage point; the model is the same, so rounding is all that is left
    # (83 and 62.5 are printed with fewer figures).
    assert changes == pytest.approx(printed, abs=0.4)
