"""The plan: options judged and ranked, with cautions, law and the year."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from model.control.case import Case, check_case
from model.control.caution import cautions_for, law_for
from model.control.facts import Rating, Seeding, Statement
from model.control.judge import Matter, is_the_lawn
from model.control.knowledge import Control
from model.control.option import JudgedOption, judged_option, with_standing
from model.control.shortlist import STANDINGS, Distinction, distinctions_of, shared_and_own
from model.control.summary import summarise
from model.control.use import WORST, Suited, capital
from model.control.year import Year, year_of

RATINGS: tuple[Rating, ...] = ("safe", "caution", "unknown", "injures")


@dataclass(frozen=True)
class Plan:
    """What to do in a case. ``options`` apply to every candidate; ``only`` to some of them.

    ``summary``: two lines at most: what to do now, and what more or later. ``first``: what to do before anything else,
    as the plant is in seed. ``itself``: the plant is the lawn grass, so that there is nothing else to say.
    """

    case: Case
    summary: tuple[str, ...]
    first: tuple[Seeding, ...]
    options: tuple[JudgedOption, ...]
    only: tuple[JudgedOption, ...]
    distinctions: tuple[Distinction, ...]
    about: tuple[tuple[str, Statement], ...]
    traps: tuple[Statement, ...]
    cautions: tuple[Statement, ...]
    law: tuple[Statement, ...]
    years: tuple[Year, ...]
    itself: bool = False

    def by(self, suited: Suited) -> tuple[JudgedOption, ...]:
        """The options for all candidates that are suited, wait, or are ruled out."""
        return tuple(option for option in self.options if option.suited == suited)

    def as_json(self, control: Control) -> dict[str, Any]:
        """The plan as plain data, as design section 4 has it; for a shortlist ``species`` is a list."""
        species = self.case.species

        def say(statement: Statement) -> str:
            return with_standing(statement.text, statement.standing, tuple(statement.source), control)

        return {
            "species": species[0] if len(species) == 1 else list(species),
            "summary": " ".join(self.summary),
            "lawn": self.case.lawn,
            "month": self.case.month,
            "case": self.case.as_json(),
            "first": [say(statement) for statement in self.first],
            "options": [option.as_json(control) for option in self.options],
            "only_for": [{"species": list(o.species), **o.as_json(control)} for o in self.only],
            "tell_apart": [
                {"one": d.one, "other": d.other, "by": list(d.separate_by), "note": d.note} for d in self.distinctions
            ],
            "about": [{"species": name, "text": say(text)} for name, text in self.about],
            "lawn_name": [say(trap) for trap in self.traps],
            "cautions": [say(caution) for caution in self.cautions],
            "law": [say(statement) for statement in self.law],
            "year": [year.as_json() for year in self.years],
        }


def plan(control: Control, case: Case) -> Plan:
    """The plan for a case. Raises AnswerError for a word that is not known."""
    case = check_case(case, control)
    if len(case.species) == 1 and is_the_lawn(control, case, case.species[0]):
        return _of_the_lawn_itself(control, case)
    each = {species: _judged(control, case, species) for species in case.species}
    shared, only = shared_and_own(control, list(each.values()))
    options, rest = _ordered(control, case, shared), _ordered(control, case, only)
    seeding = {s: Matter(control, case, s, control.options(s)[0]).seeding for s in case.species}
    in_seed = {species: statement for species, statement in seeding.items() if statement is not None}
    first = {statement.text: statement for statement in in_seed.values()}
    made = Plan(
        case=case,
        summary=(),
        first=tuple(first.values()),
        options=options,
        only=rest,
        distinctions=() if case.together else distinctions_of(control, case.species),
        about=tuple((s, text) for s in case.species for text in control.treatments[s].about),
        traps=tuple(control.lawns[case.lawn].traps) if case.place == "lawn" else (),
        cautions=cautions_for(control, case, (*options, *rest)),
        law=law_for(control, case, (*options, *rest)),
        years=tuple(year_of(control, species, case.lawn) for species in case.species),
    )
    return replace(made, summary=summarise(control, case, in_seed, options, rest))


def _of_the_lawn_itself(control: Control, case: Case) -> Plan:
    """Where the plant is the lawn grass itself: there is nothing to control."""
    name = control.lawns[case.lawn].name
    summary = (f"{capital(name)} is this lawn itself, so there is nothing to control here.",
            "Where it grows into a bed or over paving, ask for that place.")  # fmt: skip
    return Plan(case, summary, (), (), (), (), (), tuple(control.lawns[case.lawn].traps), (), (), (), itself=True)


def _judged(control: Control, case: Case, species: str) -> list[JudgedOption]:
    found = [judged_option(Matter(control, case, species, option)) for option in control.options(species)]
    # An option ruled out only because it is for other places or lawns is not worth mentioning.
    return [o for o in found if o.suited != "no" or any(reason.factor != "place" for reason in o.against)]


def _ordered(control: Control, case: Case, options: list[JudgedOption]) -> tuple[JudgedOption, ...]:
    """By method; within one, suited options first, then groups not used here, then what the lawn tolerates best."""
    order = list(control.methods.methods)

    def rank(option: JudgedOption) -> tuple[int, ...]:
        groups = {active.group for active in option.actives} - {0}
        resistant = {r.group for s in option.species for r in control.treatments[s].resistance}
        on_lawn = option.actives if case.place == "lawn" else ()
        worst = max((RATINGS.index(active.lawn_rating) for active in on_lawn), default=0)
        return (
            order.index(option.method),
            WORST[option.suited],
            len(groups & set(case.used)),
            len(groups & resistant),
            0 if option.usual else 1,
            worst,
            STANDINGS.index(option.standing),
        )

    return tuple(sorted(options, key=rank))
