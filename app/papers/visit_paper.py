"""Papers of a visit: what they are made from, and which there are."""

from __future__ import annotations

from dataclasses import dataclass
from importlib import import_module
from typing import TYPE_CHECKING, Any

from app.present.finding import day_text

if TYPE_CHECKING:
    from app.papers.plant_figure import SheetPhoto
    from app.present.naming import Naming
    from app.records import Current, FollowUp, Profile, VisitRecord
    from model.control import Control, Plan
    from model.identify import Key

# By the name of its command, and of its module less "_sheet": the words on its button.
TITLES = {"advice": "Advice sheet", "client": "For the client", "job": "Job sheet"}


@dataclass(frozen=True)
class PaperVisit:
    """What a paper of a visit is made from: its record, how its weed was named, the plan for it, and all the facts.

    ``maker``: who hands the paper out; ``photo``: the one that shows the weed, where there is one. ``namings``: of all
    weeds of the visit, ``naming`` first. ``treatments`` and ``due``: what was done at it, and what is to be looked at.
    ``mark``: of the record book, for the foot.
    """

    record: VisitRecord
    naming: Naming
    plan: Plan
    key: Key
    control: Control
    maker: str
    photo: SheetPhoto | None
    namings: tuple[Naming, ...]
    treatments: tuple[Current, ...]
    due: tuple[FollowUp, ...]
    profile: Profile
    mark: str = ""

    @property
    def day(self) -> str:
        """The day of the visit in words."""
        return day_text(self.record.visit.day)


def make_paper(name: str, visit: PaperVisit, **more: Any) -> bytes:
    """A paper of TITLES as PDF; only its module is loaded. Raises SwardkeyError where the visit lacks what it needs."""
    made: bytes = import_module(f"app.papers.{name}_sheet").of_visit(visit, **more)
    return made
