"""Each warning in its own words, and none where all fits."""

from __future__ import annotations

from pathlib import Path

import pytest

from flowlog.planning.expectation import expect
from flowlog.planning.warnings import warnings_for
from flowlog.rig.reader import parse_rig
from flowlog.rig.template import template_text


def warnings(*changes: tuple[str, str]) -> list[str]:
    text = template_text()
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    rig = parse_rig(text, Path("rig.toml"), {})
    return warnings_for(rig, expect(rig))


def test_a_rig_that_fits_has_none() -> None:
    assert warnings() == []


@pytest.mark.parametrize(
    ("old", "new", "warning"),
    [
        ('"3.2 mph"', '"4.2 mph"',
         "1.5 gal/1000 ft2 at 4.2 mph needs 53.4 psi, 7 % above the tip's range "
         "(25 psi to 50 psi). Go slower (at most 4.07 mph) or fit larger tips."),
        ('"3.2 mph"', '"2 mph"',
         "1.5 gal/1000 ft2 at 2 mph needs 12.1 psi, 52 % below the tip's range "
         "(25 psi to 50 psi). Go faster (at least 2.87 mph) or fit smaller tips."),
        ('"0.8 gal/min at 40 psi"', '"1 gal/min at 60 psi"',
         "The tip's flow is given at 60 psi, outside its own range (25 psi to 50 psi). "
         "Check boom.tip and boom.pressure."),
        ('"30 L/min"', '"20 L/min"',
         "The expected boom flow, 5.63 gal/min, is above the meter's range "
         "(0.528 gal/min to 5.28 gal/min): the logged flow and rate will be wrong. "
         "Fit a meter for this flow."),
        ('["2 L/min", "30 L/min"]', '["25 L/min", "60 L/min"]',
         "The expected boom flow, 5.63 gal/min, is below the meter's range "
         "(6.6 gal/min to 15.85 gal/min): the logged flow and rate will be wrong. "
         "Fit a meter for this flow."),
        ('"30 L/min"', '"25 L/min"',
         "At the top of the tip's range the boom takes 7.16 gal/min, above the meter's range "
         "(0.528 gal/min to 6.6 gal/min)."),
        ('"450 pulse/L"', '"10 pulse/L"',
         "The meter gives only 3.6 pulses a second at the expected flow: alerts will come late. "
         "Check meter.pulses, or fit a meter with more pulses."),
        ('pulses = "450 pulse/L"',
         'curve = [["4 L/min", "440 pulse/L"], ["12 L/min", "449 pulse/L"]]',
         "The expected boom flow, 5.63 gal/min, lies outside the meter's curve: "
         "its end value is used. Add a point at this flow."),
        ('"100 psi"', '"40 psi"',
         "The gauge ends at 40 psi, below a pressure that this rig may see (50 psi). "
         "Fit a gauge with a larger span."),
        ('"100 psi"', '"600 psi"',
         "One step of the ADC is 0.732 psi, worth 1.2 % of the flow: too coarse for small "
         "blockages. Fit a gauge with a smaller span, or a board with more bits."),
        ('zero = "0.5 V"', 'zero = "0 V"',
         "The gauge's signal runs from 0 % to 90 % of the supply; below 4 % or above 96 % it "
         "cannot be told from a broken wire."),
        ('place = "boom"', 'place = "before strainer"',
         "The gauge sits before the strainer: a plugging strainer will look like blocked tips. "
         "Behind the strainer the two can be told apart."),
        ("carrier = 1.0", "carrier = 1.28",
         "The carrier's relative density is 1.28: with water, calibrate to 1.7 gal/1000 ft2, "
         "so that the carrier comes out at 1.5 gal/1000 ft2."),
        ('# [thresholds] ', '[thresholds]\ntip = "10 %" #',
         "With 8 tips, 10 % of one tip is only 1.2 % of the boom: such a blockage will be told "
         "late or not at all. Raise thresholds.tip, or look at the tips more often."),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_told_in_a_sentence(old: str, new: str, warning: str) -> None:
    assert warnings((old, new)) == [warning]


def test_warnings_speak_the_rig_s_units() -> None:
    found = warnings(('units = "us"', 'units = "metric"'), ('"3.2 mph"', '"6.8 km/h"'))
    assert found == [
        "611 L/ha at 6.8 km/h needs 3.72 bar, 8 % above the tip's range (1.72 bar to 3.45 bar). "
        "Go slower (at most 6.54 km/h) or fit larger tips."
    ]
