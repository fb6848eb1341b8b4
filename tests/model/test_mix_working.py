"""What a sum shows of itself: each line of the working, each doubt with its sum, and the sentence of each refusal."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pytest

from model.mix import (
    LABEL_FIRST,
    MixError,
    Rate,
    Result,
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
from model.mix.doubt import doubt_about, doubt_about_output, load_mix_facts
from model.mix.number import amount, readable
from model.mix.unit import LITRES, METRES, read_number, remarks, split_sides, unit_word

BAG, LIQUID = read_analysis("10-5-2"), read_analysis("8-0-0")

# Each sum beside the lines that a person can go over with a pencil.
WORKED: dict[str, tuple[Callable[[], Result], list[str]]] = {
    "output by area": (lambda: output_from_area(2, 100), ["2 L x 10,000 / 100 m2 = 200 L/ha"]),
    "output by time": (
        lambda: output_from_time(1.5, [30, 50], 100),
        ["1.5 L/min x 40 s / 60 = 1 L", "1 L x 10,000 / 100 m2 = 100 L/ha"],
    ),
    "output by speed": (
        lambda: output_from_speed(2, 4, 1.5),
        ["600 x 2 L/min / (4 km/h x 1.5 m) = 200 L/ha"],
    ),
    "strip": (lambda: strip_length(50, 2), ["50 m2 / 2 m = 25 m"]),
    "spot": (lambda: mix_spot(10, read_rate("1:40")), ["25 mL per litre of water x 10 L of water = 250 mL"]),
    "spot by weight": (
        lambda: mix_spot(5, read_rate("3 g/10 L")),
        ["0.3 g per litre of water x 5 L of water = 1.5 g"],
    ),
    "granules": (lambda: spread(read_rate("16 g/m2")), ["16 g/m2 x 10 = 160 kg/ha"]),
    "granules on an area": (
        lambda: spread(read_rate("16 g/m2"), 250, 0.5),
        ["16 g/m2 x 10 = 160 kg/ha", "16 g/m2 x 250 m2 = 4 kg", "160 kg/ha x 0.5 % = 0.8 kg/ha of active"],
    ),
    "feed": (
        lambda: feed(BAG, read_rate("20 g/m2"), 50),
        [
            "20 g/m2 x 10 % N / 10 = 20 kg/ha of nitrogen",
            "20 g/m2 x 10 = 200 kg/ha of product",
            "2 kg x 50 m2 / 100 = 1 kg",
        ],
    ),
    "feed by volume": (
        lambda: feed(LIQUID, read_rate("5 mL/m2")),
        ["5 mL/m2 x 8 % N / 10 = 4 kg/ha of nitrogen", "5 mL/m2 x 10 = 50 L/ha of product"],
    ),
    "feed for a dose": (
        lambda: feed_for(BAG, 200, 50),
        ["200 g of nitrogen / (10 % / 100) = 2 kg on 100 m2", "2 kg x 50 m2 / 100 = 1 kg"],
    ),
    "liquid feed for a dose": (
        lambda: feed_for(LIQUID, 40, liquid=True),
        ["40 g of nitrogen / (8 % / 100) = 500 mL on 100 m2"],
    ),
    "product for active": (
        lambda: product_for(read_rate("500 g/ha"), read_strength("250 g/L"), 100),
        ["500 g/ha of active / 250 g/L = 2 L/ha of product", "2 L/ha x 100 m2 = 20 mL of product"],
    ),
    "active in product": (
        lambda: active_in(read_rate("2 kg/ha"), read_strength("50%"), 100),
        ["2 kg/ha of product x 500 g/kg = 1 kg/ha of active", "2 kg/ha x 100 m2 = 20 g of product"],
    ),
    "tank": (
        lambda: plan_tank(10, 200, read_rate("5 L/ha")),
        ["10 L x 10,000 / 200 L/ha = 500 m2 a tank", "10 L / 200 L/ha x 5 L/ha = 250 mL a tank"],
    ),
    "tank over an area": (
        lambda: plan_tank(10, 200, read_rate("500 g/ha"), 1250),
        [
            "10 L x 10,000 / 200 L/ha = 500 m2 a tank",
            "10 L / 200 L/ha x 500 g/ha = 25 g a tank",
            "1,250 m2 / 500 m2 = 2.5 fills",
            "500 g/ha x 1,250 m2 = 62.5 g in all",
        ],
    ),
    "an area": (lambda: measure_area([read_shape("rectangle", "10 x 5")]), ["rectangle: 10 m x 5 m = 50 m2"]),
    "two shapes": (
        lambda: measure_area([read_shape("triangle", "4 by 3"), read_shape("rectangle", "2X1", less=True)]),
        ["triangle: 4 m x 3 m / 2 = 6 m2", "less rectangle: 2 m x 1 m = 2 m2", "6 - 2 = 4 m2"],
    ),
    "three shapes": (
        lambda: measure_area([read_shape("rectangle", text) for text in ("10*5", "3\u00d72", "1 x 1 m")]),
        [
            "rectangle: 10 m x 5 m = 50 m2",
            "rectangle: 3 m x 2 m = 6 m2",
            "rectangle: 1 m x 1 m = 1 m2",
            "50 + 6 + 1 = 57 m2",
        ],
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", WORKED)
def test_the_working_can_be_gone_over_with_a_pencil(name: str) -> None:
    done, lines = WORKED[name]
    told = done().as_json()
    assert told["working"] == lines
    assert told["doubts"] == [doubt.text for doubt in done().doubts] and told["label_first"] == LABEL_FIRST


def test_what_was_read_stands_beside_what_was_typed() -> None:
    typed = "5 L / ha"
    assert plan_tank(10, 200, read_rate(typed)).as_json()["rate"] == {"typed": typed, "read_as": "5 L/ha"}
    assert spread(read_rate("16 g/m2")).as_json()["rate"] == {"typed": "16 g/m2", "read_as": "160 kg/ha"}
    assert mix_spot(1, read_rate("1 in 40")).as_json()["rate"] == {
        "typed": "1 in 40",
        "read_as": "25 mL per litre of water",
    }
    assert read_rate("2% w/v").as_json() == {"typed": "2% w/v", "read_as": "20 g per litre of water"}
    assert (read_strength("36 % w/v").typed, str(read_strength("36 % w/v"))) == ("36 % w/v", "360 g/L")
    assert (read_strength("500 g/kg").typed, str(read_strength("500 g/kg"))) == ("500 g/kg", "500 g/kg")
    shape = read_shape("ring", "5 x 3 m", less=True).as_json()
    assert shape == {"shape": "ring", "sizes_m": [5.0, 3.0], "area_m2": pytest.approx(4 * math.pi), "less": True}
    assert not read_shape("circle", "2").less and not read_analysis("9-0-0").elements


def test_amounts_are_written_in_the_unit_that_reads_best() -> None:
    assert [readable(v) for v in (1000, 0.00012345)] == ["1,000", "0.0001234"]
    assert (amount(999, "ml"), amount(1000, "ml"), amount(999, "g")) == ("999 mL", "1 L", "999 g")


def test_each_doubt_comes_with_its_sum_and_none_replaces_another() -> None:
    def about(result: Result) -> list[str]:
        return [doubt.text.split(" of ")[0] for doubt in result.doubts]

    assert about(output_from_time(300, [1], 0.2)) == ["a flow", "an area", "an output"]
    assert about(output_from_speed(300, 40, 30)) == ["a flow", "a speed", "a swath"]
    assert about(strip_length(0.2, 30)) == ["an area", "a swath"]
    assert about(mix_spot(0.1, read_rate("1 mL/L"))) == ["a tank", "an amount"]
    assert about(mix_spot(0.1, read_rate("600 mL/L"))) == ["a tank", "a spot mix"]
    assert about(spread(read_rate("2 kg/m2"), 0.1)) == ["a rate", "an area"]
    assert about(spread(read_rate("1 g/m2"), 0.6)) == ["an amount"]
    assert about(active_in(read_rate("3 L/m2"), read_strength("2000 g/L"), 0.1)) == ["a product", "a rate", "an area"]
    assert about(measure_area([read_shape("rectangle", "0.5x0.5")])) == ["an area"]
    assert about(plan_tank(3000, 6000, read_rate("30 g/m2"))) == ["a tank", "an output", "a rate"]
    assert about(plan_tank(10, 5000, read_rate("10 L/ha"), 150_000)) == ["an output", "an area", "a job"]
    # A last fill that is tiny, and holds less product than can be measured.
    last = plan_tank(10, 200, read_rate("100 mL/ha"), 505)
    assert about(last) == ["a last fill", "an amount"]
    assert last.doubts[0].asks is False and "2 equal fills would be 5.05 L each" in last.doubts[0].text
    # The whole fill is too little already: that is said once.
    assert about(plan_tank(10, 200, read_rate("10 mL/ha"), 750)) == ["an amount"]
    assert about(plan_tank(10, 200, read_rate("5 L/ha"), 20)) == []


def test_doubts_about_a_feed() -> None:
    told = (
        "the second and third numbers are read as P2O5 and K2O; where the bag gives P and K themselves, add --elements"
    )
    assert [(d.text, d.asks) for d in feed(BAG, read_rate("20 g/m2")).doubts] == [(told, False)]
    assert [d.text for d in feed(read_analysis("10-0-2"), read_rate("20 g/m2")).doubts] == [told]
    assert [d.text for d in feed(read_analysis("10-5-0"), read_rate("20 g/m2")).doubts] == [told]
    assert feed(read_analysis("10-5-2", elements=True), read_rate("20 g/m2")).doubts == ()
    assert feed(read_analysis("10-0-0"), read_rate("20 g/m2")).doubts == ()
    many = feed(read_analysis("60-1-0"), read_rate("2 kg/m2"), 0.1).doubts
    assert [d.text.split(" of ")[0] for d in many] == ["a rate", "a fertiliser", "one dose", "an area", told]
    assert [d.asks for d in many] == [True, True, True, True, False]


def test_numbers_on_a_border_are_not_in_doubt() -> None:
    for name in ("tank", "speed", "area", "last_fill"):
        span = load_mix_facts().spans[name]
        for value in (span.low, span.low * (1 - 1e-10), span.high, span.high * (1 + 1e-10), span.low * 1.5):
            assert doubt_about(name, value) == ()
        for value in (span.low * 0.999, span.high * 1.001):
            assert len(doubt_about(name, value)) == 1
    assert doubt_about_output(30) == doubt_about_output(1500) == ()
    assert (
        doubt_about("tank", 5000)[0].text == "a tank of 5,000 L is outside 0.5 to 2,000 (from memory): it is in litres"
    )
    assert not doubt_about_output(29.9)[0].asks and not doubt_about_output(1501)[0].asks


REFUSED: dict[str, Callable[[], Any]] = {
    "20 L/ha of product is not less than the 20 L/ha of spray; check the rate and the output": lambda: plan_tank(
        10, 20, read_rate("20 L/ha")
    ),
    "an active of 0 % is impossible; give a number more than 0": lambda: spread(read_rate("5 g/m2"), 1, 0),
    "a course of 0 m is impossible; give a number more than 0": lambda: speed_over(0, [1]),
    "an active of 101 % is more than all of the product; check the label": lambda: spread(
        read_rate("5 g/m2"), 1, 101
    ),
    "5 mL/m2 is a volume, and granules are weighed; for a liquid use mix tank": lambda: spread(read_rate("5 mL/m2")),
    "0-1-0 holds no nitrogen, so no amount of it gives any": lambda: feed_for(read_analysis("0-1-0"), 5),
    "is not an analysis; write the three percentages of the bag, N-P-K, with hyphens (0 for none)": lambda: (
        read_analysis("5")
    ),
    "sums to 100.5 %, more than all of the product; check the bag": lambda: read_analysis("50-50-0.5"),
    "has no nutrient in it; check the bag": lambda: read_analysis("0-0-0"),
    "is not a strength; write g/L, g/kg or a percentage, from the label in hand": lambda: read_strength("5 g"),
    "a volume in a volume is not a strength; write g/L, g/kg or a percentage": lambda: read_strength("5 L/L"),
    "is more active than product; check the label": lambda: read_strength("1000.5 g/kg"),
    "5 L/ha is a volume, and active is weighed; give the active as a weight for an area": lambda: product_for(
        read_rate("5 L/ha"), read_strength("50%")
    ),
    "5 L/ha and a strength of 500 g/kg do not go together: one is by volume, the other by weight": lambda: active_in(
        read_rate("5 L/ha"), read_strength("50%")
    ),
    "is more than 100 %; check the label": lambda: read_rate("100.5%"),
    "names more than one product; work out each on its own": lambda: read_rate("3 g + 10 mL/10 L"),
    "a ring is wider outside than inside; give the outer diameter first": lambda: read_shape("ring", "3 x 3"),
    "a rectangle needs 2: length x width, in metres": lambda: read_shape("rectangle", "3"),
    "sides of 1, 2 and 3 m do not make a triangle; measure again": lambda: read_shape("sides", "1x2x3"),
    "no shape is given; name one, such as a rectangle, with its sizes in metres": lambda: measure_area([]),
    "what is subtracted is not less than the whole; measure again": lambda: measure_area(
        [read_shape("rectangle", "5x5"), read_shape("rectangle", "5x5", less=True)]
    ),
    "nothing is not a number; write it like 1000 or 0.5": lambda: read_number(" "),
    "x is not a number; write it like 1000 or 0.5": lambda: read_number(" x "),
    "-1 is impossible; give a number more than 0": lambda: read_number("-1 "),
    "2e9 is beyond anything that is sprayed or spread; check it": lambda: read_number("2e9"),
    "longer than 80 characters; write an amount and a unit": lambda: read_rate("5 L/" + "h" * 77),
    "an empty side has no unit": lambda: read_rate("/ha"),
    "10 has no unit": lambda: read_rate("10/ha"),
    "L has no amount in front, or it is not a number": lambda: read_rate("L/ha"),
    "2-3 L is a range; choose one amount within it": lambda: read_rate("2-3 L/ha"),
    "2 to 3 L is a range; choose one amount within it": lambda: read_rate("2 to 3 L/ha"),
    "is not in litres; give a number of those, or an amount with such a unit": lambda: read_quantity(
        "5 L/ha", LITRES
    ),
    "5 m is a length; give a number of litres, or such a unit": lambda: read_quantity("5 m", LITRES),
    "5 kg is a weight; give a number of metres, or such a unit": lambda: read_quantity("5 kg", METRES),
    "ML is a million litres; write mL for millilitres": lambda: unit_word("M.L"),
    "has more than one / or per; write one amount over one area or volume, and fractions like 0.5": lambda: (
        split_sides("1/2 per 3")
    ),
}  # fmt: skip


@pytest.mark.parametrize("says", REFUSED)
def test_a_refusal_says_what_was_wrong_and_what_to_give(says: str) -> None:
    with pytest.raises(MixError) as error:
        REFUSED[says]()
    assert str(error.value) == says


@pytest.mark.parametrize(
    ("run", "name"),
    [
        (lambda rate: plan_tank(10, 200, rate), "mix tank"),
        (lambda rate: spread(rate), "mix granule"),
        (lambda rate: feed(BAG, rate), "mix nitrogen"),
        (lambda rate: product_for(rate, read_strength("50%")), "mix strength"),
        (lambda rate: active_in(rate, read_strength("50%")), "mix strength"),
    ],
)  # fmt: skip
def test_a_rate_for_water_is_sent_to_the_spot_mix(run: Callable[[Rate], Result], name: str) -> None:
    with pytest.raises(MixError) as error:
        run(read_rate("3 g/10 L"))
    assert str(error.value) == (
        f"3 g/10 L is product for an amount of water, and {name} needs product for an area (AMOUNT/AREA, "
        "from the label in hand); for a spot mix use mix spot"
    )


def test_a_boom_rate_is_never_carried_into_a_spot_mix() -> None:
    with pytest.raises(MixError) as error:
        mix_spot(10, read_rate("5 L/ha"))
    assert str(error.value) == (
        "5 L/ha is product for an area, and a spot mix cannot be computed from it: a spot rate is product for an "
        "amount of water (AMOUNT mL/L, AMOUNT g/10 L, 1:PARTS or PERCENT%), so find that on the label, and never carry "
        "a boom rate into a spot mix; where the output is measured, use mix tank"
    )


def test_what_lies_on_a_limit_is_taken() -> None:
    assert read_analysis("50-50-0").nitrogen == 50
    assert read_strength("100%").grams == 1000 and read_strength("1000 g/kg").grams == 1000
    assert read_strength("1200 g/L").grams == 1200
    assert read_rate("100%").amount == 1000
    assert spread(read_rate("5 g/m2"), 1, 100).figures["active_total_g"] == 5
    assert read_number("1e9") == 1e9 and read_number("1e-9") == pytest.approx(1e-9)
    assert read_rate("5 L" + " " * 73 + "/ha").amount == 0.5, "80 characters"
    with pytest.raises(MixError, match="beyond anything"):
        read_number("9e-10")


def test_words_are_read_in_capitals_too() -> None:
    assert read_rate("3 g in 10 L of Water").amount == read_rate("3 G IN 10 L OF WATER").amount == 0.3
    assert read_rate("2 PERCENT W/V").measure == "g" and read_strength("50 % W/V").measure == "ml"
    assert read_rate("1 PART TO 40 PARTS OF WATER").amount == 25
    assert unit_word("Sq. Ft") == "foot**2" and unit_word("acre foot") == "acre_foot" and unit_word("rod2") == "rod**2"


def test_a_unit_that_is_not_known_is_advised_on() -> None:
    for typed, advice in (("litters", "did you mean liters"), ("qqqq", "write one like mL, L, g, kg, m2 or ha")):
        with pytest.raises(MixError) as error:
            read_quantity(f"5 {typed}", LITRES)
        assert str(error.value).startswith(f"{typed} is not a unit that is known; {advice}")
    with pytest.raises(MixError) as fraction:
        read_quantity("½ L", LITRES)
    assert "write a fraction like 0.5" in str(fraction.value)


def test_units_that_differ_between_countries_are_remarked_on_once() -> None:
    floz = "fl oz is read as imperial, 28.41 mL (on an American label write us floz, 29.57 mL)"
    oz = "oz is read as a weight, 28.35 g (write floz for a liquid)"
    found = remarks("8 fl oz/acre", None, "3 OZ in 10 gal", "8 floz per acre")
    gallon = "gal is read as imperial, 4.546 L (on an American label write us gal, 3.785 L)"
    assert [(d.text, d.asks) for d in found] == [(floz, False), (oz, False), (gallon, False)]
    assert remarks("3 us gal", "5 L/ha", "3 imp gal") == ()
