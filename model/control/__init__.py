"""What to do about a weed on this lawn, in this month, in this state. Never a rate.

control = load_control(flora)
plan(control, Case(("soliva_sessilis",), month=6, lawn="buffalo"))
"""

from model.control.case import Case
from model.control.load import Control, load_control
from model.control.plan import JudgedOption, Plan, plan, with_standing
from model.control.year import Year, year_of

__all__ = ["Case", "Control", "JudgedOption", "Plan", "Year", "load_control", "plan", "with_standing", "year_of"]
