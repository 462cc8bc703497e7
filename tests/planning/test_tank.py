"""Fills of the tank: nothing is lost between them, and the label's maximum holds."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flowlog.planning.plan_products import read_graduation, read_product_line
from flowlog.planning.planfile import PlanInput, Written
from flowlog.planning.products import LabelRate, Product
from flowlog.planning.tank import Stop, TankJob, TankPlan, TankPlanError, plan_tank
from flowlog.planning.tank_words import left_over, tank_warnings
from flowlog.units import number_in, parse


def job(
    *products: Product,
    rate: str = "1.5 gal/1000 ft2",
    tank: str = "25 gal",
    kept: str = "0 gal",
    areas: tuple[str, ...] = ("40000 ft2",),
) -> TankJob:
    return TankJob(
        parse(rate, "rate"),
        parse(tank, "volume"),
        parse(kept, "volume"),
        tuple(Stop(f"S{n}", parse(area, "area")) for n, area in enumerate(areas, 1)),
        products,
    )


def product(rate: str, maximum: str = "", graduation: str = "") -> Product:
    marks = [read_graduation(graduation)] if graduation else []
    found = read_product_line(f"Killer: {rate}", "fl oz", marks)
    if not maximum:
        return found
    limit = read_product_line(f"Killer: {maximum}", "fl oz").rate.per_m2
    return Product(found.name, found.rate, found.unit, limit, found.graduation)


def gallons(value: float) -> float:
    return number_in(value, "volume", "gal")


def ounces(plan: TankPlan, fill: int, number: int = 0) -> float:
    return number_in(plan.fills[fill].doses[number].measured, "volume", "fl oz")


def warned(one: TankJob) -> list[str]:
    given_ = PlanInput(
        rate=Written(one.rate_m3_m2, "gal/1000 ft2"), tank=Written(one.tank_m3, "gal")
    )
    return tank_warnings(plan_tank(one), given_)


def test_two_full_tanks_and_the_rest() -> None:
    plan = plan_tank(job(product("3 fl oz/1000 ft2")))
    assert [gallons(fill.added_m3) for fill in plan.fills] == pytest.approx([25, 25, 10])
    assert [ounces(plan, n) for n in range(3)] == pytest.approx([50, 50, 20])
    # Water is what the product leaves room for.
    assert gallons(plan.fills[2].water_m3) == pytest.approx(10 - 20 / 128)


def test_a_job_of_whole_tanks_has_no_empty_fill_behind_them() -> None:
    plan = plan_tank(job(areas=("10000 ft2",) * 5, rate="1 gal/1000 ft2"))
    assert [gallons(fill.added_m3) for fill in plan.fills] == pytest.approx([25, 25])


def test_a_rest_of_one_last_bit_is_no_fill() -> None:
    # 0.1 + 0.2 is a last bit more than three times 0.1.
    one = TankJob(1.0, 0.1, 0.0, (Stop("a", 0.1), Stop("b", 0.2)), ())
    plan = plan_tank(one)
    assert len(plan.fills) == 3
    assert [(share.first_fill, share.last_fill) for share in plan.shares] == [(1, 1), (2, 3)]


def test_what_cannot_be_sprayed_is_mixed_once_and_left_over() -> None:
    plan = plan_tank(job(product("3 fl oz/1000 ft2"), kept="1 gal"))
    assert [gallons(fill.added_m3) for fill in plan.fills] == pytest.approx([25, 24, 12])
    assert [gallons(fill.level_m3) for fill in plan.fills] == pytest.approx([25, 25, 13])
    assert gallons(plan.left_m3) == pytest.approx(1)
    assert number_in(plan.total(0), "volume", "fl oz") == pytest.approx(2 * 61)
    assert gallons(plan.job.area_per_tank_m2 * plan.job.rate_m3_m2) == pytest.approx(24)


def test_stops_are_told_where_the_tank_runs_out_in_them() -> None:
    plan = plan_tank(job(areas=("10000 ft2", "20000 ft2", "3333.3333333333 ft2", "6000 ft2")))
    where = [(share.first_fill, share.last_fill) for share in plan.shares]
    # A tank covers 16667 ft2: the second tank ends with the third stop.
    assert where == [(1, 1), (1, 2), (2, 2), (3, 3)]
    (after,) = plan.shares[1].refill_after_m2
    assert number_in(after, "area", "ft2") == pytest.approx(6666.67, abs=0.01)
    assert gallons(plan.shares[1].spray_m3) == pytest.approx(30)


def test_a_dry_product_takes_no_room() -> None:
    plan = plan_tank(job(product("2 lb/ac"), areas=("1 ac",), rate="20 gal/ac"))
    assert gallons(plan.water_m3) == pytest.approx(20)
    assert number_in(plan.total(0), "mass", "lb") == pytest.approx(2)


@pytest.mark.parametrize(
    ("rate", "ounces_"),
    [
        ("0.25 %", 8.0),
        ("0.25 % v/v", 8.0),
        ("32 fl oz/100 gal", 8.0),
        ("2 pt/100 gal", 8.0),
        ("8 fl oz/ac", 8.0),
        ("0.25 qt/ac", 8.0),
        ("0.1836547 fl oz/1000 ft2", 8.0),
        ("0.58462227 L/ha", 8.0),
        ("0.25 lb/ac of 4 lb/gal", 8.0),
    ],
)
def test_every_way_to_say_a_rate_gives_the_same_jug(rate: str, ounces_: float) -> None:
    plan = plan_tank(job(product(rate), rate="25 gal/ac", areas=("1 ac",)))
    assert ounces(plan, 0) == pytest.approx(ounces_, rel=1e-6)


def test_the_product_is_rounded_and_the_rate_follows() -> None:
    # 16667 ft2 take 51.67 fl oz; the jug gives 52.
    plan = plan_tank(job(product("3.1 fl oz/1000 ft2", graduation="4 fl oz")))
    assert ounces(plan, 0) == pytest.approx(52)
    got = number_in(plan.fills[0].doses[0].per_m2, "rate", "fl oz/1000 ft2")
    assert got == pytest.approx(52 / 16.66667, rel=1e-6)
    assert plan.job.rate_m3_m2 == parse("1.5 gal/1000 ft2", "rate")


def test_rounding_up_never_passes_the_label_s_maximum() -> None:
    plan = plan_tank(job(product("3.1 fl oz/1000 ft2", "3.1 fl oz/1000 ft2", "4 fl oz")))
    assert ounces(plan, 0) == pytest.approx(48)
    assert plan.fills[0].doses[0].held_down


def test_a_jug_too_coarse_for_the_last_fill_is_said() -> None:
    one = job(product("0.1 fl oz/1000 ft2", graduation="2 fl oz"), areas=("20000 ft2",))
    plan = plan_tank(one)
    assert ounces(plan, 1) == pytest.approx(0.333333, rel=1e-5)
    assert warned(one) == ["Killer: rounding to the mark moves fill 1 by 20 %: use a finer jug."]
    small = job(product("0.1 fl oz/1000 ft2", graduation="2 fl oz"), areas=("5000 ft2",))
    assert warned(small) == [
        "Killer: fill 1 needs 0.5 fl oz, less than the smallest mark: left unrounded, "
        "use a finer jug."
    ]


def test_a_rate_over_the_label_s_maximum_is_a_violation() -> None:
    assert warned(job(product("5 fl oz/1000 ft2", "4 fl oz/1000 ft2"))) == [
        "Killer: the planned rate, 5 fl oz/1000 ft2, is 25 % OVER the label's maximum, "
        "4 fl oz/1000 ft2. More than the label allows is a violation of the law."
    ]
    assert warned(job(product("4 fl oz/1000 ft2", "4 fl oz/1000 ft2"))) == []


def test_the_maximum_is_held_for_amounts_per_volume_of_spray_too() -> None:
    # 2 % of 1.5 gal/1000 ft2 is 3.84 fl oz.
    assert warned(job(product("2 %", "3.84 fl oz/1000 ft2"))) == []
    assert len(warned(job(product("2 %", "3.8 fl oz/1000 ft2")))) == 1


def test_a_last_fill_of_a_puddle_is_said_with_even_fills_instead() -> None:
    one = job(areas=("34000 ft2",))
    assert warned(one) == [
        "The last fill is only 1 gal: hard to mix and to draw. 3 fills up to 17 gal do the same "
        'job (give tank = "17 gal").'
    ]
    even = job(areas=("34000 ft2",), tank="17 gal")
    assert [gallons(fill.added_m3) for fill in plan_tank(even).fills] == pytest.approx([17] * 3)
    assert warned(even) == []


def test_what_stays_in_the_tank_is_said() -> None:
    one = plan_tank(job(kept="1 gal"))
    assert left_over(one, PlanInput(tank=Written(one.job.tank_m3, "gal"))) == (
        "1 gal of mix stays in tank and lines at the end; the label says what to do with it."
    )
    assert left_over(plan_tank(job()), PlanInput()) is None


def test_products_that_leave_no_room_for_water_are_refused() -> None:
    with pytest.raises(TankPlanError, match=r"the liquid products alone are 1\.2 times the spray"):
        plan_tank(job(product("48 gal/ac"), rate="40 gal/ac"))


def test_a_tank_that_cannot_be_sprayed_is_refused() -> None:
    with pytest.raises(TankPlanError, match="not less than the tank"):
        plan_tank(job(kept="25 gal"))


@given(
    st.floats(0.05, 5.0),
    st.floats(5, 500),
    st.floats(0, 0.5),
    st.lists(st.floats(100, 50000), min_size=1, max_size=6),
    st.floats(0.001, 0.1),
    st.one_of(st.none(), st.floats(1e-6, 5e-4)),
    st.booleans(),
)
def test_volumes_areas_and_products_are_conserved_over_the_fills(
    gal: float,
    tank: float,
    kept: float,
    areas: list[float],
    in_spray: float,
    graduation: float | None,
    capped: bool,
) -> None:
    rate = parse(f"{gal!r} gal/1000 ft2", "rate")
    label = LabelRate("liquid", None, in_spray, "")
    limit = in_spray * rate if capped else None
    stops = tuple(Stop("", area * 0.3048**2) for area in areas)
    volume = tank * 0.003785411784
    one = TankJob(
        rate, volume, volume * kept, stops, (Product("p", label, "mL", limit, graduation),)
    )
    plan = plan_tank(one)
    sprayed = math.fsum(fill.sprayed_m3 for fill in plan.fills)
    assert sprayed == pytest.approx(one.spray_m3, rel=1e-9)
    assert plan.mix_m3 == pytest.approx(sprayed + plan.left_m3, rel=1e-9)
    assert math.fsum(fill.area_m2 for fill in plan.fills) == pytest.approx(one.area_m2, rel=1e-9)
    assert math.fsum(share.spray_m3 for share in plan.shares) == pytest.approx(sprayed, rel=1e-9)
    liquid = plan.total(0)
    assert plan.water_m3 + liquid == pytest.approx(plan.mix_m3, rel=1e-9)
    assert plan.exact_total(0) == pytest.approx(in_spray * plan.mix_m3, rel=1e-9)
    # All product that was measured lies on the ground or in what is left.
    last = plan.fills[-1]
    ground = math.fsum(fill.doses[0].per_m2 * fill.area_m2 for fill in plan.fills)
    left = last.doses[0].per_m2 / rate * plan.left_m3
    assert ground + left == pytest.approx(liquid, rel=1e-9)
    for fill in plan.fills:
        assert 0 < fill.level_m3 <= volume * (1 + 1e-9)
        assert fill.water_m3 > 0 or graduation is not None
        dose = fill.doses[0]
        if graduation is None:
            assert dose.measured == dose.exact
            assert dose.per_m2 == pytest.approx(in_spray * rate, rel=1e-9)
        elif dose.exact >= graduation / 2 and not dose.held_down:
            assert abs(dose.measured - dose.exact) <= graduation * 0.5001
        if limit is not None:
            assert dose.per_m2 <= limit * (1 + 1e-8)


@given(st.floats(0.1, 20), st.floats(0.1, 3), st.floats(1, 50), st.floats(0.05, 1.0))
def test_the_active_ingredient_comes_back_out_of_the_product(
    active: float, acres: float, spray: float, strength: float
) -> None:
    powder = product(f"{active!r} lb/ac of {100 * strength!r} %")
    plan = plan_tank(job(powder, rate=f"{spray!r} gal/ac", areas=(f"{acres!r} ac",)))
    pounds = number_in(plan.total(0), "mass", "lb")
    assert pounds * strength == pytest.approx(active * acres, rel=1e-9)
