"""Calculations for spraying, spreading and feeding. No rate is known here: the user types each from the label."""

from model.mix.area import Shape, measure_area, read_shape
from model.mix.doubt import Doubt, MixError
from model.mix.fertiliser import Analysis, feed, feed_for, read_analysis
from model.mix.output import output_from_area, output_from_speed, output_from_time, speed_over, strip_length
from model.mix.rate import Rate, read_rate
from model.mix.result import LABEL_FIRST, Result
from model.mix.strength import Strength, active_in, product_for, read_strength, spread
from model.mix.tank import mix_spot, plan_tank
from model.mix.unit import read_quantity

__all__ = [
    "LABEL_FIRST", "Analysis", "Doubt", "MixError", "Rate", "Result", "Shape", "Strength", "active_in", "feed",
    "feed_for", "measure_area", "mix_spot", "output_from_area", "output_from_speed", "output_from_time", "plan_tank",
    "product_for", "read_analysis", "read_quantity", "read_rate", "read_shape", "read_strength", "speed_over", "spread",
    "strip_length",
]  # fmt: skip
