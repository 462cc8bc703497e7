"""Whether a quadratic line loss is good enough around the working point.

Source: `fluids`, an open-source library of engineering hydraulics (Darcy-Weisbach with a
Colebrook friction factor). Water at 20 C: 998.2 kg/m3, 1.002 mPa.s (IAPWS-97 rounded).
"""

import fluids
import numpy as np
import pytest

from flowlog.simulator.supply import GAL_MIN, PSI, reference_supply

INCH = 0.0254


def _hose_loss_pa(flow_m3_s, bore_m, length_m):
    area = np.pi * bore_m**2 / 4
    speed = flow_m3_s / area
    reynolds = fluids.Reynolds(V=speed, D=bore_m, rho=998.2, mu=1.002e-3)
    friction = fluids.friction_factor(Re=reynolds, eD=0.0)
    return friction * length_m / bore_m * 998.2 * speed**2 / 2


@pytest.mark.parametrize("bore_in", [0.375, 0.5, 0.75])
@pytest.mark.parametrize("share", [0.7, 0.85, 1.15, 1.3])
def test_a_smooth_hose_stays_within_a_tenth_of_the_square_law(bore_in, share):
    # Smooth turbulent friction grows with about Q^1.8; strainers, valves and fittings with Q^2.
    # The faults that the simulator makes move flow by some tens of per cent.
    working = 4 * GAL_MIN
    loss = _hose_loss_pa(working * share, bore_in * INCH, 3.0)
    square = _hose_loss_pa(working, bore_in * INCH, 3.0) * share**2
    assert loss == pytest.approx(square, rel=0.1)


def test_the_roller_pump_s_line_is_that_of_some_metres_of_ordinary_hose():
    # 0.03 psi/(gal/min)^2 at 6.4 gal/min is 1.2 psi: between 10 and 30 ft of 5/8-3/4 in hose
    # with its strainer, or a few feet of 1/2 in.
    flow = 6.39 * GAL_MIN
    loss = reference_supply("roller").line_loss * flow**2
    assert loss / PSI == pytest.approx(1.2, abs=0.05)
    half_inch_per_ft = _hose_loss_pa(flow, 0.5 * INCH, 0.3048)
    three_quarter_per_ft = _hose_loss_pa(flow, 0.75 * INCH, 0.3048)
    assert 2 < loss / half_inch_per_ft < 5
    assert 10 < loss / three_quarter_per_ft < 30
