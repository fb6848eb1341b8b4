"""What to do about a weed on this lawn, in this month, in this state. Never a rate.

control = load_control(flora)
plan(control, Case(("soliva_sessilis",), month=6, lawn="buffalo"))
"""

from model.control.case import Case, LabelRead
from model.control.knowledge import Control, load_control
from model.control.option import JudgedOption, with_standing
from model.control.plan import Plan, plan
from model.control.spraying import judge_spraying, judge_spraying_day
from model.control.use import Use, judge_use, suited_of
from model.control.year import Year, year_of

__all__ = [
    "Case", "Control", "JudgedOption", "LabelRead", "Plan", "Use", "Year", "judge_spraying", "judge_spraying_day",
    "judge_use", "load_control", "plan", "suited_of", "with_standing", "year_of",
]  # fmt: skip
