"""What the page of learning does beside itself: the check of labels, both trainings, and fetching open photos."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence, Set
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any

from app.services.collection import checked
from app.web.background import Progress, Work
from app.web.frame import Fields, FormError, one
from app.web.model_figures import draw_figures
from app.web.model_words import training_result
from app.web.new_photos import Called, outcome_notices

if TYPE_CHECKING:
    from training.data.manifest import LabelledPhoto

MOST_ASKED = 60  # photos on the contact sheet at a time
EACH, MOST_EACH = 40, 1000  # open photos of a species
# The stages of the work under it, as a person reads them.
STAGES = {
    "": "Getting ready: this takes up to half a minute.",
    "features": "Looking at the photos.",
    "looking": "Looking for copies and spoilt photos; then each name is compared with the other photos.",
    "looking at the photos": "Looking at the photos; then the model is fitted and tested on photos held back.",
    "tuning the network": "Adapting the second network to your photos.",
    "learning from the rest": "Learning on from the other photos.",
    "looking through it": "Looking at the photos through the new network.",
    "looking again": "Looking at the photos once more; then the model is tested.",
    "asking": "Asking the archive which photos there are.",
    "fetching": "Fetching photos.",
}
work = Work()


def needs_torch() -> bool:
    """Whether the library is missing that full training takes."""
    return find_spec("torch") is None


def fingerprint(photos: Sequence[LabelledPhoto]) -> str:
    """Stands for photos, their names and groups: the same photos give the same model."""
    lines = sorted(f"{photo.name} {photo.label} {photo.group}" for photo in photos)
    return hashlib.sha256("\n".join(lines).encode("utf-8", "replace")).hexdigest()


def start_check(photos: Sequence[LabelledPhoto]) -> None:
    """Check the labels. Raises FormError while something else is running."""
    names = {photo.name for photo in photos}

    def run(progress: Progress) -> dict[str, Any]:
        report = checked(photos, True, (), None, progress)
        asked = [on_the_sheet(question, names) for question in report.questions()[:MOST_ASKED]]
        return {"kind": "check", "photos": report.photos, "species": report.species, "questions": asked}

    work.start("The check", run)


def on_the_sheet(question: Any, names: Set[str]) -> dict[str, Any]:
    """A question as the contact sheet shows it: a twin by its picture, not by its name."""
    twin = next((word for word in question.words.replace(";", " ").split() if word in names), "")
    words = question.words.replace(twin, "the second one") if twin else question.words
    return {
        "photo": question.photo,
        "given": question.given,
        "likelier": question.likelier,
        # The likelier species is named above already.
        "words": "" if question.likelier and question.likelier in words else words,
        "twin": twin,
    }


def start_training(photos: list[LabelledPhoto], recipe: str, called: Called) -> None:
    """Train by a recipe; the full one goes on where it was stopped. Raises FormError while something is running."""
    from app.services.retraining import train_on

    def run(progress: Progress) -> dict[str, Any]:
        done = train_on(photos, recipe, None, progress)
        draw_figures(done, called, fingerprint(photos) if recipe == "quick" else "")
        return {"kind": "train", **training_result(done, called)}

    if recipe == "full":
        work.start("Full training", run, {"do": "train_full"})
    else:
        work.start("Training", run)


def start_fetching(fields: Fields, called: Called) -> None:
    """Fetch open photos. Raises FormError or AnswerError for a form that makes no sense."""
    from app.services.open_photos import (
        countries_of,
        kinds_of_licence,
        plan_open_addition,
        plan_open_photos,
        species_wanted,
    )

    plant, each, country = one(fields, "plant"), one(fields, "each") or str(EACH), one(fields, "country")
    if not (each.isascii() and each.isdigit() and 1 <= int(each) <= MOST_EACH):
        raise FormError(f"Photos of each: give a number from 1 to {MOST_EACH}.")
    names = species_wanted([plant] if plant else [], not plant, "", None)
    kinds, countries = kinds_of_licence("cc0,by,by-sa"), countries_of(country) if country else ()

    def run(progress: Progress) -> dict[str, Any]:
        progress("asking", 0, len(names))
        plan = plan_open_photos(names, int(each), kinds, countries, lambda done: progress("asking", done, len(names)))
        if not plan.photos:
            return {"kind": "open", "notices": ["No open photo was found. Ask for more countries."]}
        collection, intake = plan_open_addition(plan, "", None, ())
        outcome = collection.add(intake, lambda done: progress("fetching", done, len(plan.photos)))
        left = [f"{outcome.stopped}; {outcome.left} left to fetch."] if outcome.stopped else []
        return {"kind": "open", "notices": [*outcome_notices(outcome, called), *left], "again": bool(outcome.stopped)}

    work.start("Fetching open photos", run, {"do": "fetch", "plant": plant, "each": each, "country": country})
