"""The sums of spraying, spreading and feeding. No rate is known here: each is typed by the user from the label."""

from model.mix.area import Area, Shape, measure_area, read_shape
from model.mix.doubt import Doubt, MixError
from model.mix.fertiliser import Analysis, Feed, feed, feed_for, read_analysis
from model.mix.granule import Spread, spread
from model.mix.output import (
    Output,
    Strip,
    output_from_area,
    output_from_speed,
    output_from_time,
    speed_over,
    strip_length,
)
from model.mix.rate import Rate, read_rate
from model.mix.result import LABEL_FIRST, Result
from model.mix.spot import SpotMix, mix_spot
from model.mix.strength import Dose, Strength, active_in, product_for, read_strength
from model.mix.tank import TankMix, plan_tank
from model.mix.unit import read_quantity

__all__ = [
    "LABEL_FIRST",
    "Analysis",
    "Area",
    "Dose",
    "Doubt",
    "Feed",
    "MixError",
    "Output",
    "Rate",
    "Result",
    "Shape",
    "SpotMix",
    "Spread",
    "Strength",
    "Strip",
    "TankMix",
    "active_in",
    "feed",
    "feed_for",
    "measure_area",
    "mix_spot",
    "output_from_area",
    "output_from_speed",
    "output_from_time",
    "plan_tank",
    "product_for",
    "read_analysis",
    "read_quantity",
    "read_rate",
    "read_shape",
    "read_strength",
    "speed_over",
    "spread",
    "strip_length",
]
