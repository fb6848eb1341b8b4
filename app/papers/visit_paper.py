"""Papers of a visit. Each is a module of this package with a ``PAPER``; no list of them is kept anywhere."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import app.papers
from app.papers.plant_figure import SheetPhoto
from app.present.finding import day_text
from app.present.naming import Naming
from model.control import Control, Plan
from model.identify import Key

if TYPE_CHECKING:
    from app.records import Current, FollowUp, Profile, VisitRecord


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


@dataclass(frozen=True)
class VisitPaper:
    """A paper of a visit.

    ``title``: the words on its button; ``says``: what it is, in a sentence for ``swardkey print --help``; ``make``: its
    PDF, which raises SwardkeyError where the visit lacks what it needs.
    """

    title: str
    says: str
    make: Callable[[PaperVisit], bytes]


def visit_papers() -> dict[str, VisitPaper]:
    """Every paper of a visit, by the name of its module without ``_sheet``, in alphabetical order."""
    modules = sorted(module.name for module in pkgutil.iter_modules(app.papers.__path__))
    found = {name: getattr(importlib.import_module(f"app.papers.{name}"), "PAPER", None) for name in modules}
    return {name.removesuffix("_sheet").replace("_", "-"): paper for name, paper in found.items() if paper is not None}
