"""Plan files: read whole, faults all at once with their lines, options win, the rig fills in."""

from __future__ import annotations

from pathlib import Path

import pytest

from flowlog.planning.planfile import PlanInput, Written, parse_plan, template_text, to_job
from flowlog.rig.faults import RigFileError
from flowlog.rig.model import Rig
from flowlog.rig.reader import parse_rig
from flowlog.rig.template import template_text as rig_text
from flowlog.units import number_in, parse

HEAD = '[plan]\nrate = "1.5 gal/1000 ft2"\ntank = "25 gal"\n'
STOP = '[[stop]]\narea = "40000 ft2"\n'
PLAN = HEAD + STOP


def rig(_path: str = "") -> Rig:
    return parse_rig(rig_text(), Path("rig.toml"), {})


def read(text: str, base: PlanInput | None = None) -> PlanInput:
    return parse_plan(text, Path("plan.toml"), rig, base)


def faults(text: str) -> list[str]:
    with pytest.raises(RigFileError) as caught:
        read(text)
    return [line.removeprefix("plan.toml:") for line in caught.value.faults]


def product(lines: str) -> str:
    return f'{PLAN}[[product]]\nname = "Killer"\n{lines}\n'


def test_the_template_is_a_plan() -> None:
    plan = read(template_text())
    job = to_job(plan)
    assert plan.name == "Tuesday, north lawns"
    assert [stop.name for stop in job.stops] == ["Front lawn", "Playing field"]
    assert number_in(job.area_m2, "area", "ft2") == pytest.approx(36000)
    assert [one.unit for one in job.products] == ["fl oz"]
    assert plan.area_unit == "ft2"


def test_the_template_s_comments_are_keys_that_work() -> None:
    text = template_text()
    begin = text.index("# [[product]]")
    lines = [line.removeprefix("# ") for line in text[begin:].splitlines()]
    rest = [line for line in lines if not line.startswith("density")]
    powder = read(text[:begin] + "\n".join(rest)).products[1]
    assert powder.rate.form == "dry"
    assert powder.unit == "wt oz"
    assert powder.maximum_per_m2 == pytest.approx(parse("3.125 lb/ac", "mass_per_area"))
    liquid = [line for line in rest if not line.startswith(("graduation", "unit"))]
    found = read(text[:begin] + "\n".join([*liquid, 'density = "10 lb/gal"'])).products[1]
    assert found.rate.form == "liquid"
    # 2 lb of 8 lb/gal.
    assert found.rate.per_m2 == pytest.approx(parse("0.25 gal/ac", "rate"))


def test_rate_and_tank_come_from_the_rig_where_the_plan_is_silent() -> None:
    plan = read('[plan]\nrig = "north.toml"\n' + STOP)
    assert plan.spray_rate == Written(rig().work.rate_m3_m2, "gal/1000 ft2")
    assert to_job(plan).tank_m3 == pytest.approx(parse("60 gal", "volume"))
    own = read('[plan]\nrig = "north.toml"\nrate = "2 gal/1000 ft2"\n' + STOP)
    assert to_job(own).rate_m3_m2 == parse("2 gal/1000 ft2", "rate")


def test_what_is_given_beside_the_file_wins() -> None:
    base = PlanInput(tank=Written(parse("40 gal", "volume"), "gal"))
    assert to_job(read(PLAN, base)).tank_m3 == parse("40 gal", "volume")


def test_areas_may_be_what_a_tape_reads() -> None:
    shapes = (
        'area = "1500 ft2"',
        'rectangle = ["60 ft", "25 ft"]',
        'circle = "80 ft"',
        'triangle = ["30 ft", "26 ft"]',
    )
    plan = read(HEAD + "".join(f"[[stop]]\n{shape}\n" for shape in shapes))
    assert [number_in(stop.area_m2, "area", "ft2") for stop in plan.stops] == pytest.approx(
        [1500, 1500, 5026.55, 390], abs=0.01
    )
    assert plan.stops[2].name == "Stop 3"


@pytest.mark.parametrize(
    ("rate", "unit"), [("400 L/ha", "mL"), ("60 mL/m2", "mL"), ("40 gal/ac", "fl oz")]
)
def test_a_percentage_is_measured_in_the_units_of_the_spray_rate(rate: str, unit: str) -> None:
    text = product('rate = "0.25 %"').replace("1.5 gal/1000 ft2", rate)
    assert read(text).products[0].unit == unit


def test_the_jug_s_unit_is_the_one_to_measure_in_unless_told() -> None:
    one = 'rate = "2 pt/ac"\ngraduation = "0.5 fl oz"'
    assert read(product('rate = "2 pt/ac"')).products[0].unit == "pt"
    assert read(product(one)).products[0].unit == "fl oz"
    assert read(product(one + '\nunit = "mL"')).products[0].unit == "mL"


def test_all_faults_are_told_at_once_in_the_order_of_the_lines() -> None:
    assert faults(
        '[plan]\nrate = "1.5 gal"\ntank = 25\ntink = 2\n[[stop]]\narea = "1 acr"\n'
        '[[product]]\nrate = "3 oz/ac"\n[extra]\n'
    ) == [
        "2: plan.rate: '1.5 gal' is a volume, not a rate (write for instance '1.5 gal/1000 ft2')",
        '3: plan.tank: 25 has no unit (write for instance tank = "25 gal")',
        "4: plan.tink: unknown key (did you mean 'tank'?)",
        "6: stop[1].area: '1 acr' is not an area (did you mean '1 acre'?)",
        '7: product[1].name: missing (write for instance name = "Weed killer")',
        "8: product[1].rate: '3 oz/ac': an ounce of what? "
        "(write 'fl oz' for a liquid, 'wt oz' for a dry product)",
        "9: extra: unknown table (known here: plan, stop, product)",
    ]


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        (STOP, "plan.rate: missing"),
        (HEAD, "stop: there is no stop (begin one with a line [[stop]])"),
        (HEAD + "[stop]\narea = 2\n", "4: stop: must be an array of tables"),
        ("plan = 3\n" + STOP, "1: plan: must be a table"),
        (HEAD + 'unsprayable = "25 gal"\n' + STOP,
         "4: plan.unsprayable: is not less than the tank's volume"),
        (HEAD + '[[stop]]\narea = "1 ac"\ncircle = "9 ft"\n',
         "6: stop[1].circle: stands beside area (keep only one of the two)"),
        (HEAD + '[[stop]]\nrectangle = ["9 ft"]\n', "5: stop[1].rectangle: must be 2 length(s)"),
        (HEAD + '[[stop]]\nrectangle = ["9 ft", "9 gal"]\n',
         "5: stop[1].rectangle[2]: '9 gal' is a volume, not a length"),
        (HEAD + "[[stop]]\n", "4: stop[1].area: missing"),
        (product(""), "6: product[1].rate: missing (write for instance"),
        (product('rate = "3 %"\nactive = "2 lb/ac"'), "9: product[1].active: stands beside rate"),
        (product('active = "2 lb/ac"'), "6: product[1].strength: missing beside active"),
        (product('active = "2 fl oz/ac"\nstrength = "80 %"'),
         "8: product[1].active: '2 fl oz/ac' is a rate, not a mass per area"),
        (product('active = "2 lb/ac"\nstrength = "strong"'),
         "9: product[1].strength: 'strong' is not a mass per volume"),
        (product('active = "2 lb/ac"\nstrength = "180 %"'),
         "9: product[1].strength: '180 %' is more than all of it"),
        (product('rate = "2 lb/ac"\ndensity = "9 lb/gal"'),
         "9: product[1].density: is needed only beside a strength by weight"),
        (product('rate = "0 lb/ac"'), "8: product[1].rate: '0 lb/ac' is not more than nothing"),
        (product('rate = "100 %"'), "8: product[1].rate: '100 %' leaves no room for water"),
        (product('rate = "lots"'), "8: product[1].rate: 'lots' is not a label rate"),
        (product('rate = "3 L/ha"\nmaximum = "4 kg/ha"'),
         "9: product[1].maximum: '4 kg/ha' is for a dry product, the rate for a liquid one"),
        (product('rate = "3 L/ha"\nmaximum = "1 %"'), "9: product[1].maximum: '1 %' is not per"),
        (product('rate = "3 L/ha"\nactive_maximum = "1 lb/ac"'),
         "9: product[1].active_maximum: needs the strength"),
        (product('rate = "3 L/ha"\ngraduation = "1 lb"'),
         "9: product[1].graduation: '1 lb' is a mass, not a volume"),
        (product('rate = "3 L/ha"\ngraduation = "0 mL"'),
         "9: product[1].graduation: '0 mL' is not more than nothing"),
        (product('rate = "3 L/ha"\nunit = "kg"'),
         "9: product[1].unit: 'kg' is no unit of volume (write for instance 'fl oz')"),
        ("[plan\n", "1: is not TOML"),
    ],
)  # fmt: skip
def test_each_fault_has_its_line_and_what_would_be_right(text: str, fault: str) -> None:
    found = [line.removeprefix(" ") for line in faults(text)]
    assert any(line.startswith(fault) for line in found), found


def test_faults_of_the_rig_file_are_told_with_those_of_the_plan() -> None:
    def broken(_path: str) -> Rig:
        raise RigFileError(["north.toml:3: boom.tips: 0 is outside 1 to 60"])

    with pytest.raises(RigFileError) as caught:
        parse_plan('[plan]\nrig = "north.toml"\ntink = 1\n' + STOP, Path("p.toml"), broken)
    assert caught.value.faults == (
        "p.toml:3: plan.tink: unknown key (did you mean 'tank'?)",
        "north.toml:3: boom.tips: 0 is outside 1 to 60",
    )
