"""The command `train`: a better photo model from one's own labelled photos, active only if it is better."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from app.commands.json_output import Json, answer
from app.commands.options import CollectionFolder, option
from app.commands.terminal import on_interrupt, print_lines, progress_of_stages
from app.services.activation import override_of
from app.services.retraining import photos_to_learn, recipes_in_words, train_on

if TYPE_CHECKING:
    from training.recipes.train import Outcome

STOPPED = (
    "the active model is as it was, and the photos looked at so far need not be looked at again; "
    "run the same command to go on"
)


def train(
    recipe: Annotated[str, option("RECIPE", recipes_in_words())] = "quick",
    collection: CollectionFolder = None,
    by: Annotated[str, option("NAME", "Who activates it where the photos do not decide.")] = "",
    because: Annotated[str, option("REASON", "Why; it is logged.")] = "",
    as_json: Json = False,
) -> None:
    """Learn from the collection. The new model takes over only if it keeps known species and names the new ones.

    Photos that neither model has learned from decide. A model that is turned down is kept: see swardkey models list.

    Examples:
        swardkey train
        swardkey train --recipe full
    """
    override = override_of(by, because)
    with on_interrupt(STOPPED), progress_of_stages(as_json, log=True) as progress:
        done = train_on(photos_to_learn(collection, recipe), recipe, override, progress)
    answer(as_json, done.as_json(), lambda: print_outcome(done))


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
