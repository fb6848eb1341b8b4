"""When to spray: Delta T, weather limits, the lock-out around inversions, rain, and degree-days for germination."""

from model.spray.delta_t import delta_t
from model.spray.reason import Reason, SprayError
from model.spray.rules import Rules, load_rules
from model.spray.time_of_day import Occasion, clock, read_clock
from model.spray.weather import Forecast, Weather, read_forecast
from model.spray.window import Day, Hour, Spray, Verdict, judge, judge_day

__all__ = [
    "Day", "Forecast", "Hour", "Occasion", "Reason", "Rules", "Spray", "SprayError", "Verdict", "Weather", "clock",
    "delta_t", "judge", "judge_day", "load_rules", "read_clock", "read_forecast",
]  # fmt: skip
