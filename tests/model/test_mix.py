"""The sums of mixing: what is read from what was typed, what is impossible, and what must hold for any numbers."""

from __future__ import annotations

import math
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from model.flora.load import CONFIGS
from model.mix import (
    MixError,
    Rate,
    active_in,
    feed,
    feed_for,
    measure_area,
    mix_spot,
    output_from_area,
    output_from_speed,
    output_from_time,
    plan_tank,
    product_for,
    read_analysis,
    read_quantity,
    read_rate,
    read_shape,
    read_strength,
    speed_over,
    spread,
    strip_length,
)
from model.mix.doubt import SPANS, MixFacts, doubt_about, load_mix_facts
from model.mix.unit import (
    GRAMS_PER_100M2,
    KM_PER_HOUR,
    LITRES,
    LITRES_PER_HECTARE,
    METRES,
    SQUARE_METRES,
)

ACRE, FLOZ, POUND, SQUARE_FOOT = 4046.8726, 29.57353, 453.59237, 0.09290304
sizes = st.floats(0.01, 1000, allow_nan=False)
amounts = st.floats(0.001, 999, allow_nan=False)

READ = {
    "5 L/ha": (0.5, "ml", "m2"),
    "5 litres per hectare": (0.5, "ml", "m2"),
    "5L / HA": (0.5, "ml", "m2"),
    "32 us floz/acre": (32 * FLOZ / ACRE, "ml", "m2"),
    "8 US fl. oz./acre": (8 * FLOZ / ACRE, "ml", "m2"),
    "8 oz/acre": (8 * 28.349523 / ACRE, "g", "m2"),
    "6 us floz/1000 ft2": (6 * FLOZ / (1000 * SQUARE_FOOT), "ml", "m2"),
    "2.25 lb/kft2": (2.25 * POUND / (1000 * SQUARE_FOOT), "g", "m2"),
    "10 lb/1000ft2": (10 * POUND / (1000 * SQUARE_FOOT), "g", "m2"),
    "10 lb per 1,000 sq ft": (10 * POUND / (1000 * SQUARE_FOOT), "g", "m2"),
    "16 g/m2": (16, "g", "m2"),
    "16 g/m²": (16, "g", "m2"),
    "500 g/100 m2": (5, "g", "m2"),
    "2 us gal/acre": (2 * 3785.41 / ACRE, "ml", "m2"),
    "1 hl/ha": (10, "ml", "m2"),
    "10 mL/L": (10, "ml", "litre"),
    "1 L/100 L": (10, "ml", "litre"),
    "1.0 L per 100 L of water": (10, "ml", "litre"),
    "3 g/10 L": (0.3, "g", "litre"),
    "1 g in 50 L": (0.02, "g", "litre"),
    "1:40": (25, "ml", "litre"),
    "1 in 40": (25, "ml", "litre"),
    "1 part to 40 parts of water": (25, "ml", "litre"),
    "2%": (20, "ml", "litre"),
    "2 % v/v": (20, "ml", "litre"),
    "2% w/v": (20, "g", "litre"),
}


@pytest.mark.parametrize("typed", READ)
def test_a_rate_is_read_as_it_was_meant(typed: str) -> None:
    rate = read_rate(typed)
    amount, measure, per = READ[typed]
    assert (rate.measure, rate.per) == (measure, per)
    assert rate.amount == pytest.approx(amount, rel=1e-5)


@pytest.mark.parametrize(
    ("typed", "cause"),
    [
        ("5", "is not a rate"), ("5 L", "is not a rate"), ("", "is not a rate"), ("L/ha", "no amount in front"),
        ("5/ha", "has no unit"), ("10 mL/10", "has no unit"), ("nan L/ha", "not a number"),
        ("inf L/ha", "not a number"),
        ("-5 L/ha", "more than 0"), ("0 L/ha", "more than 0"), ("5 L/0 ha", "more than 0"), ("1:0", "more than 0"),
        ("1e999 L/ha", "beyond anything"), ("5 m/ha", "a length"), ("5 L/m", "a length"), ("5 s/ha", "a time"),
        ("5 acre/ha", "an area"), ("5 L/kg", "a weight"), ("120%", "more than 100 %"), ("2-3 L/ha", "is a range"),
        ("2 to 3 L/ha", "is a range"), ("1/2 L/ha", "more than one /"), ("½ L/ha", "like 0.5"),
        ("1,5 L/ha", "not a unit"), ("5 litters/ha", "did you mean liters"), ("10 ML/L", "a million litres"),
        ("10 Mg/ha", "a million grams"), ("1 lb/M", "kft2"), ("2 ton/acre", "tonne"), ("5 degC/ha", "not a unit"),
        ("3 g + 10 mL/10 L", "more than one product"), ("5 __import__('os')/ha", "not a unit"),
        ("5 L/" + "h" * 99, "80"),
    ],
)  # fmt: skip
def test_what_is_not_a_rate_is_refused_with_its_cause(typed: str, cause: str) -> None:
    with pytest.raises(MixError, match=cause.replace("+", r"\+")):
        read_rate(typed)


@given(value=st.floats(0.001, 99_999, allow_nan=False), unit=st.sampled_from(["mL", "L", "g", "kg"]))
@settings(deadline=None, max_examples=60)
def test_a_written_rate_reads_back(value: float, unit: str) -> None:
    large = 1000 if unit in ("L", "kg") else 1
    for over, square_metres in (("ha", 10_000), ("100 m2", 100), ("m2", 1)):
        rate = read_rate(f"{value!r} {unit}/{over}")
        assert rate.amount == pytest.approx(value * large / square_metres, rel=1e-9)
    assert read_rate(f"{value!r} {unit} per 10 L").amount == pytest.approx(value * large / 10, rel=1e-9)


@given(typed=st.text("0123456789.,/:%-+ eLmlghkactfozin2x²½", max_size=14) | st.text(max_size=20))
@settings(deadline=None, max_examples=150)
def test_anything_that_is_typed_is_read_or_refused_and_never_a_fault(typed: str) -> None:
    for reader in (
        lambda: read_rate(typed).amount,
        lambda: read_strength(typed).grams,
        lambda: read_quantity(typed, LITRES),
        lambda: read_quantity(typed, KM_PER_HOUR),
        lambda: read_shape("rectangle", typed).area_m2,
        lambda: read_analysis(typed).nitrogen + 1,
    ):
        try:
            assert 0 < reader() < math.inf
        except MixError as error:
            assert str(error)


@given(parts=st.floats(1, 2000, allow_nan=False), water=sizes)
@settings(deadline=None)
def test_a_ratio_counts_the_water_that_the_product_is_added_to(parts: float, water: float) -> None:
    product = mix_spot(water, read_rate(f"1:{parts!r}")).figures["product_total_ml"] / 1000
    assert product * parts == pytest.approx(water)
    assert product / (product + water) == pytest.approx(1 / (parts + 1))


def test_quantities_take_the_units_of_others_and_hand_back_ours() -> None:
    assert read_quantity("10", LITRES) == 10
    assert read_quantity("1,000", LITRES) == 1000
    assert read_quantity("3 us gal", LITRES) == pytest.approx(11.356, abs=1e-3)
    assert read_quantity("3 gal", LITRES) == read_quantity("3 imp gal", LITRES) == pytest.approx(13.638, abs=1e-3)
    assert read_quantity("222 in", METRES) == pytest.approx(5.6388)
    assert read_quantity("5 mph", KM_PER_HOUR) == pytest.approx(8.04672)
    assert read_quantity("200 m/min", KM_PER_HOUR) == pytest.approx(12)
    assert read_quantity("2 acres", SQUARE_METRES) == pytest.approx(2 * ACRE)
    assert read_quantity("25 us gal/acre", LITRES_PER_HECTARE) == pytest.approx(233.85, abs=0.01)
    assert read_quantity("1 lb/kft2", GRAMS_PER_100M2) == pytest.approx(488.24, abs=0.01)


@pytest.mark.parametrize("typed", ["", "nan", "inf", "-inf", "-3", "0", "1e12", "abc", "10 m", "10 L/ha", "1 2", "1/2"])
def test_a_volume_is_a_number_above_zero_or_a_volume(typed: str) -> None:
    with pytest.raises(MixError):
        read_quantity(typed, LITRES)


def test_a_length_is_not_an_output_though_its_dimension_is_the_same() -> None:
    with pytest.raises(MixError, match="litres per hectare"):
        read_quantity("5 m", LITRES_PER_HECTARE)


@given(flow=st.floats(0.1, 50), speed=st.floats(0.5, 20), swath=st.floats(0.2, 20), times=st.floats(1.5, 4))
@settings(deadline=None)
def test_output_goes_with_flow_and_against_speed_and_swath(
    flow: float, speed: float, swath: float, times: float
) -> None:
    def output(flow: float, speed: float, swath: float) -> Any:
        return output_from_speed(flow, speed, swath).figures["litres_per_hectare"]

    start = output(flow, speed, swath)
    assert output(times * flow, speed, swath) == pytest.approx(times * start)
    assert output(flow, times * speed, swath) == pytest.approx(start / times)
    assert output(flow, speed, times * swath) == pytest.approx(start / times)


@given(flow=st.floats(0.1, 50), swath=st.floats(0.2, 20), area=sizes, seconds=st.floats(5, 600))
@settings(deadline=None)
def test_the_three_ways_of_measuring_an_output_agree(flow: float, swath: float, area: float, seconds: float) -> None:
    course: Any = strip_length(area, swath).figures["length_m"]
    by_speed = output_from_speed(flow, speed_over(course, [seconds]), swath)
    by_time = output_from_time(flow, [seconds, seconds], area)
    by_area = output_from_area(flow * seconds / 60, area)
    outputs = [result.figures["litres_per_hectare"] for result in (by_speed, by_time, by_area)]
    assert outputs == pytest.approx([outputs[0]] * 3)


def area_rate(amount: float, measure: str = "g") -> Rate:
    return Rate("as typed", amount, "ml" if measure == "ml" else "g", "m2")


@given(tank=st.floats(1, 500), output=st.floats(20, 3000), rate=st.floats(1e-4, 1.9), area=st.floats(1, 50_000))
@settings(deadline=None)
def test_fills_and_the_last_part_fill_add_up_to_the_total(tank: float, output: float, rate: float, area: float) -> None:
    mix: Any = plan_tank(tank, output, area_rate(rate), area).figures
    full, last = mix["full_fills"], mix["last_fill_litres"]
    assert full * mix["product_per_tank_g"] + mix["last_fill_product_g"] == pytest.approx(rate * area, rel=1e-6)
    assert full * tank + last == pytest.approx(output * area / 10_000, rel=1e-6)
    assert 0 <= last < tank
    # The output itself plays no part in the product for an area.
    twice: Any = plan_tank(tank, 2 * output, area_rate(rate), area).figures
    assert mix["product_total_g"] == pytest.approx(twice["product_total_g"])


@given(share=st.floats(0.05, 1), tank=st.floats(1, 100))
@settings(deadline=None)
def test_a_part_tank_takes_its_part(share: float, tank: float) -> None:
    whole, part = (plan_tank(size, 400, area_rate(0.1)).figures for size in (tank, share * tank))
    for name in ("product_per_tank_g", "area_per_tank_m2"):
        assert part[name] == pytest.approx(share * whole[name])


@pytest.mark.parametrize(("tank", "area"), [(5.1, 244.8), (5.4, 259.2), (5, 240)])
def test_an_area_of_whole_tanks_has_no_last_part_fill(tank: float, area: float) -> None:
    # In floating point the first two are a hair more and a hair less than three tanks: no fill of its own.
    mix = plan_tank(tank, 625, area_rate(0.1), area).as_json()
    assert (mix["full_fills"], mix["last_fill_litres"], mix["last_fill_product_g"]) == (3, 0, 0)
    assert mix["fills"] == 3, "the file has no noise"


def test_without_an_area_there_are_no_fills() -> None:
    found = plan_tank(10, 200, read_rate("5 L/ha")).as_json()
    assert found["product_per_tank_ml"] == 250 and found["area_per_tank_m2"] == 500
    assert found["fills"] is found["full_fills"] is found["product_total_ml"] is found["last_fill_litres"] is None


def test_a_tank_of_nothing_but_product_cannot_be() -> None:
    with pytest.raises(MixError, match="not less than"):
        plan_tank(10, 200, read_rate("20 mL/m2"))
    with pytest.raises(MixError, match="mix spot"):
        plan_tank(10, 200, read_rate("10 mL/L"))


@given(
    n=st.floats(0.5, 50), want=st.floats(20, 1000), area=st.floats(1, 5000), liquid=st.booleans(),
    p=st.floats(0, 20), k=st.floats(0, 20),
)  # fmt: skip
@settings(deadline=None)
def test_nitrogen_wanted_is_nitrogen_given(
    n: float, want: float, area: float, liquid: bool, p: float, k: float
) -> None:
    bag = read_analysis(f"{n:.3f}-{p:.3f}-{k:.3f}")
    there, unit = feed_for(bag, want, area, liquid), "ml" if liquid else "g"
    back = feed(bag, area_rate(there.figures[f"product_{unit}_per_100m2"] / 100, unit), area)  # type: ignore[operator]
    assert back.figures["nitrogen_g_per_100m2"] == pytest.approx(want)
    assert back.figures == pytest.approx(there.figures)
    assert back.figures["nitrogen_total_g"] == pytest.approx(want * area / 100)


def test_elements_on_the_bag_are_not_oxides() -> None:
    rate = read_rate("100 kg/ha")
    oxides, elements = (feed(read_analysis("10-10-10", known), rate).figures for known in (False, True))
    assert oxides["phosphate_kg_per_hectare"] == pytest.approx(10)
    assert oxides["phosphorus_kg_per_hectare"] == pytest.approx(4.364)
    assert elements["phosphorus_kg_per_hectare"] == pytest.approx(10)
    assert elements["phosphate_kg_per_hectare"] == pytest.approx(10 / 0.4364)
    assert elements["potash_kg_per_hectare"] == pytest.approx(10 / 0.83)
    assert elements["nitrogen_kg_per_hectare"] == oxides["nitrogen_kg_per_hectare"] == pytest.approx(10)


@pytest.mark.parametrize("typed", ["", "14", "14-0", "15-4-7-9", "-5-0-0", "60-30-20", "0-0-0", "nan-0-0", "a-b-c"])
def test_what_is_not_an_analysis_is_refused(typed: str) -> None:
    with pytest.raises(MixError):
        read_analysis(typed)
    with pytest.raises(MixError, match="no nitrogen"):
        feed_for(read_analysis("0-9-0"), 100)


def test_granules_are_weighed_and_their_active_is_a_share() -> None:
    found = spread(read_rate("16 g/m2"), 250, 0.5).figures
    assert found["product_total_g"] == 4000 and found["product_kg_per_hectare"] == 160
    assert found["active_kg_per_hectare"] == pytest.approx(0.8) and found["active_total_g"] == pytest.approx(20)
    for rate, active in (("5 L/ha", None), ("10 g/L", None), ("16 g/m2", 101), ("16 g/m2", 0), ("16 g/m2", math.nan)):
        with pytest.raises(MixError):
            spread(read_rate(rate), 100, active)


@given(active=st.floats(1e-4, 1), grams=st.floats(1, 999), unit=st.sampled_from(["g/L", "g/kg"]))
@settings(deadline=None)
def test_active_to_product_and_back(active: float, grams: float, unit: str) -> None:
    strength = read_strength(f"{grams!r} {unit}")
    there: Any = product_for(area_rate(active), strength, 100).figures[f"product_total_{strength.measure}"]
    assert there == pytest.approx(active * 1000 / grams * 100)
    back = active_in(area_rate(there / 100, strength.measure), strength, 100).figures
    assert back["active_total_g"] == pytest.approx(active * 100)


def test_strengths_are_by_weight_or_by_volume() -> None:
    assert (read_strength("50%").grams, read_strength("50%").measure) == (500, "g")
    assert (read_strength("36% w/v").grams, read_strength("36% w/v").measure) == (360, "ml")
    assert read_strength("4 lb/us gal").grams == pytest.approx(479.3, abs=0.1)
    for typed in ("5", "5 L/L", "120%", "2 kg/kg", "5 g/ha", ""):
        with pytest.raises(MixError):
            read_strength(typed)
    with pytest.raises(MixError, match="go together"):
        active_in(read_rate("5 L/ha"), read_strength("50%"))
    with pytest.raises(MixError, match="active is weighed"):
        product_for(read_rate("5 L/ha"), read_strength("50%"))


@given(a=sizes, b=sizes, h=sizes)
@settings(deadline=None)
def test_shapes_agree_where_one_is_a_case_of_another(a: float, b: float, h: float) -> None:
    def area(form: str, *measured: float) -> float:
        return read_shape(form, "x".join(map(repr, measured))).area_m2

    assert area("trapezium", a, a, h) == pytest.approx(area("rectangle", a, h))
    assert area("triangle", a, h) == pytest.approx(area("rectangle", a, h) / 2)
    assert area("ellipse", a, a) == pytest.approx(area("circle", a)) == pytest.approx(math.pi * (a / 2) ** 2)
    assert area("ring", a + b, a) == pytest.approx(area("circle", a + b) - area("circle", a), rel=1e-6)
    assert area("sides", a, b, math.hypot(a, b)) == pytest.approx(a * b / 2, rel=1e-4)


def test_beds_are_taken_away_and_cannot_be_more_than_the_whole() -> None:
    whole, bed = read_shape("rectangle", "10x5"), read_shape("circle", "2 m", less=True)
    found = measure_area([whole, bed]).as_json()
    assert found["area_m2"] == pytest.approx(50 - math.pi)
    assert [shape["less"] for shape in found["shapes"]] == [False, True]
    for shapes in ([], [bed], [whole, read_shape("rectangle", "5x10", less=True)]):
        with pytest.raises(MixError):
            measure_area(shapes)
    with pytest.raises(MixError, match="do not make a triangle"):
        read_shape("sides", "1x2x5")


@pytest.mark.parametrize(
    ("form", "typed", "why"),
    [("rectangle", "10", "needs 2: length x width"), ("rectangle", "10x-5", "-5 is impossible"),
     ("rectangle", "10x0", "0 is impossible"), ("ring", "3x5", "wider outside than inside"),
     ("hexagon", "3", "hexagon is not a shape"), ("circle", "", "nothing is not a number"),
     ("circle", "nan", "nan is not a number"), ("rectangle", "10x5 L", "10 L is a volume"),
     ("rectangle", "axb", "needs 2: length x width")],
)  # fmt: skip
def test_sizes_that_make_no_shape_are_refused_by_what_is_wrong(form: str, typed: str, why: str) -> None:
    with pytest.raises(MixError, match=why):
        read_shape(form, typed)


WATER, OVER_GROUND = read_rate("10 mL/L"), read_rate("5 g/m2")
# Each sum by one of its numbers, and what it is the number of.
SUMS: list[tuple[str, Callable[[float], object]]] = [
    ("volume", lambda n: output_from_area(n, 1)), ("area", lambda n: output_from_area(1, n)),
    ("flow", lambda n: output_from_speed(n, 1, 1)), ("speed", lambda n: output_from_speed(1, n, 1)),
    ("swath", lambda n: output_from_speed(1, 1, n)), ("time", lambda n: output_from_time(1, [30, n], 10)),
    ("area", lambda n: strip_length(n, 1)), ("swath", lambda n: strip_length(1, n)),
    ("tank", lambda n: plan_tank(n, 200, OVER_GROUND)), ("output", lambda n: plan_tank(10, n, OVER_GROUND)),
    ("area", lambda n: plan_tank(10, 200, OVER_GROUND, n)), ("volume", lambda n: mix_spot(n, WATER)),
    ("area", lambda n: spread(OVER_GROUND, n)), ("area", lambda n: feed(read_analysis("9-0-0"), OVER_GROUND, n)),
    ("dose", lambda n: feed_for(read_analysis("9-0-0"), n)),
    ("area", lambda n: product_for(OVER_GROUND, read_strength("50%"), n)),
]  # fmt: skip


def test_no_sum_takes_a_number_that_is_not_above_zero_and_each_takes_one() -> None:
    for name, sum_of in SUMS:
        sum_of(1)
        for wrong in (0, -1, math.nan, math.inf, -math.inf):
            with pytest.raises(
                MixError, match=rf"^an? {name} of {wrong:g} .*is impossible; give a number more than 0$"
            ):
                sum_of(wrong)
    with pytest.raises(MixError, match="a time of 0 s"):
        output_from_time(1, [], 10)


@pytest.mark.parametrize(
    ("span", "right", "slip"),
    [("tank", 10, 5000), ("speed", 5, 40), ("swath", 1.5, 30), ("area", 400, 4_000_000), ("nitrogen", 490, 2000),
     ("spot_share", 10, 1000), ("granule_rate", 16, 16_000), ("nitrogen_content", 46, 90), ("tank_rate", 0.5, 50)],
)  # fmt: skip
def test_a_slip_is_asked_about_and_a_plausible_number_is_not(span: str, right: float, slip: float) -> None:
    assert doubt_about(span, right) == ()
    (doubt,) = doubt_about(span, slip)
    assert doubt.asks and load_mix_facts().spans[span].standing in doubt.text


def test_a_span_that_is_missing_misspelt_or_upside_down_is_refused() -> None:
    given_facts = yaml.safe_load((CONFIGS / "mix.yaml").read_text(encoding="utf-8"))
    assert set(MixFacts(**given_facts).spans) == SPANS
    for change in (
        {"tank": None},
        {"tonk": given_facts["spans"]["tank"]},
        {"tank": {**given_facts["spans"]["tank"], "low": 9999}},
    ):
        spans = {name: span for name, span in (given_facts["spans"] | change).items() if span is not None}
        with pytest.raises(ValueError):
            MixFacts(**(given_facts | {"spans": spans}))


def test_the_library_of_units_is_loaded_only_when_a_unit_is_read() -> None:
    code = (
        "import sys, model.mix as m\n"
        "from model.mix.unit import LITRES\n"
        "m.output_from_area(m.read_quantity('2', LITRES), 100)\n"
        "assert 'pint' not in sys.modules\n"
        "m.read_rate('5 L/ha')\n"
        "assert 'pint' in sys.modules\n"
    )
    root = Path(__file__).resolve().parents[2]
    done = subprocess.run([sys.executable, "-c", code], cwd=root, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
