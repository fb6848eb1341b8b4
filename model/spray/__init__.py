"""When to spray: Delta T, limits of weather, the lock-out against inversions, rain, and the warmth that weeds need."""

from model.spray.clock import clock, read_clock
from model.spray.delta_t import delta_t
from model.spray.forecast import Forecast, read_forecast
from model.spray.occasion import Occasion
from model.spray.reason import Reason, SprayError
from model.spray.rules import Rules, load_rules
from model.spray.weather import Weather
from model.spray.window import Day, Hour, Spray, Verdict, judge, judge_day

__all__ = [
    "Day",
    "Forecast",
    "Hour",
    "Occasion",
    "Reason",
    "Rules",
    "Spray",
    "SprayError",
    "Verdict",
    "Weather",
    "clock",
    "delta_t",
    "judge",
    "judge_day",
    "load_rules",
    "read_clock",
    "read_forecast",
]
