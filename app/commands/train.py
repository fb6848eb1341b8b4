"""The command `train`: a better photo model from one's own labelled photos, active only if it is better."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Literal

import typer

from app.commands.json_output import Json, answer
from app.commands.options import CollectionFolder, option
from app.commands.terminal import print_lines, progress_bar, progress_of_stages
from app.services.retraining import override_of, photos_to_learn, train_by_full, train_by_quick

if TYPE_CHECKING:
    from training.recipes.decide import Outcome


def train(
    recipe: Annotated[
        Literal["quick", "full"],
        typer.Option(help="quick: features once, then a closed-form head. full: a network is fine-tuned as well."),
    ] = "quick",
    collection: CollectionFolder = None,
    by: Annotated[str, option("NAME", "Who activates it where the photos cannot tell.")] = "",
    because: Annotated[str, option("REASON", "Why; it is logged.")] = "",
    as_json: Json = False,
) -> None:
    """Learn from the collection. The new model takes over only if it is no worse on photos that neither has seen."""
    override, done = override_of(by, because), None
    photos = photos_to_learn(collection, recipe == "full")
    if recipe == "quick":
        with progress_bar("looking", len(photos), as_json) as progress:
            done = train_by_quick(photos, override, progress)
    else:
        done = train_by_full(photos, override, lambda silent: progress_of_stages(silent or as_json, log=True))
    if done is not None:  # None in all but the first of several processes
        outcome = done
        answer(as_json, outcome.as_json(), lambda: print_outcome(outcome))


def print_outcome(done: Outcome) -> None:
    """Print what was learned from what, and whether the new model took over."""
    print_lines(*(f"left out: {name}: {why}" for name, why in done.left_out.items()))
    print_lines(*(f"not learned yet: {label} needs {missing}" for label, missing in done.not_yet.items()))
    parts = ", ".join(f"{count} {part.replace('_', ' ')}" for part, count in done.parts.items())
    print_lines(f"{done.photos} photos: {parts}")
    if (m := done.work.measured) is not None:
        print_lines(f"On {m.photos} photos held out: first choice right {m.top1:.1%}, within three {m.top3:.1%}")
    print_lines(str(done.promotion.verdict))
    print_lines(done.promotion.says, style="bold")
