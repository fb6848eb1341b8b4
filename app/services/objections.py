"""The evidence against a treatment that was done, by the judgement that plan and spray window share.

A record keeps what was done: nothing is refused or changed here, it is only pointed out.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, get_args

if TYPE_CHECKING:
    from app.records import Product, Records, Treatment, VisitRecord
    from model.control import Control, Use
    from model.control.facts import Place
    from model.control.use import Reason

HEADING = "Evidence against this treatment"
# Words by which people tell where they worked; a lawn that is named at all decides, as the most is asked of it.
PLACES: tuple[tuple[Place, str], ...] = (
    ("lawn", r"\b(lawns?|turf|grass|oval|verge|nature strip)\b"),
    ("bed", r"\b(beds?|borders?)\b"),
    ("paving", r"\b(pav\w*|paths?|footpaths?|drive\w*|patios?|gravel|concrete|bricks?|kerbs?|gutters?)\b"),
)
WIPED = r"\b(wip|dab|paint|wick|spong)"


@dataclass(frozen=True)
class Remark:
    """A reason in a sentence, and how well it is founded."""

    text: str
    cited: str

    def __str__(self) -> str:
        return f"{self.text} [{self.cited}]"


def against(records: Records, treatment: Treatment, control: Control | None = None) -> tuple[Remark, ...]:
    """The evidence against a treatment, at the site and on the day of its visit; none where too little is recorded."""
    if not treatment.chemical or not treatment.products:
        return ()
    # Imported only here: lists and signatures need no advice.
    from app.records import VisitRecord
    from app.services.knowledge import load_advice

    control = control or load_advice()
    actives = actives_named(control, treatment.products)
    if not actives:
        return ()
    record = records.current("visit", treatment.visit).record
    assert isinstance(record, VisitRecord)
    use = use_of_treatment(control, treatment, record, actives)
    return tuple(_remark(control, reason) for reason in reasons_against(control, use))


def reasons_against(control: Control, use: Use) -> tuple[Reason, ...]:
    """The reasons of the one judgement that say no, and those by which the law may."""
    from model.control import judge_use

    found = judge_use(control, use)
    return tuple(r for r in found if r.suited == "no" or (r.suited == "wait" and r.factor == "law"))


def actives_named(control: Control, products: tuple[Product, ...]) -> tuple[str, ...]:
    """The actives that products name, however they are written; a name that is not known is passed over."""
    return control.actives_in("; ".join(f"{product.actives}; {product.name}" for product in products))


def use_of_treatment(control: Control, treatment: Treatment, record: VisitRecord, actives: tuple[str, ...]) -> Use:
    """What was used, in the case of its visit: as given for the plan then, else as the site has it."""
    from app.services.visit_papers import kept_case
    from model.control import Use
    from model.control.facts import Near

    site, case = record.site, kept_case(record)
    known = case is not None and case.lawn in control.lawns and case.lawn != "unknown"
    lawn = case.lawn if case is not None and known else site.lawn if site.lawn in control.lawns else "unknown"
    cultivar = case.cultivar if case is not None and known else None
    state = treatment.state or site.state
    place = place_named(treatment.situation) or place_named(treatment.plants) or (case.place if case else None)
    wiped = treatment.gear == "wiper" or (not treatment.gear and re.search(WIPED, treatment.method, re.IGNORECASE))
    return Use(
        actives,
        how="wipe" if wiped else "spray",
        lawn=lawn,
        cultivar=cultivar if cultivar in control.lawns[lawn].cultivars else None,
        # Of an unknown place, only what holds anywhere is said: in a bed, no lawn stands in the way.
        place=place or "bed",
        month=treatment.day.month,
        state=state if state in control.states else None,
        near=tuple(thing for thing in get_args(Near) if thing in site.near),
    )


def place_named(text: str) -> Place | None:
    """Where somebody worked, by their own words.

    >>> place_named("home lawn"), place_named("Garden bed"), place_named("driveway"), place_named("at the back")
    ('lawn', 'bed', 'paving', None)
    """
    return next((place for place, words in PLACES if re.search(words, text, re.IGNORECASE)), None)


def _remark(control: Control, reason: Reason) -> Remark:
    from model.flora.source import cite
    from model.flora.species import Fact

    text = reason.whole if reason.suited == "no" else f"{reason.whole} Look at the day of the treatment."
    fact = Fact(source=list(reason.source), standing=reason.standing)  # type: ignore[arg-type]  # never by a label
    return Remark(text, cite(control.flora.sources, fact))
