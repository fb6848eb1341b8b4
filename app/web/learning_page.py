"""Learn: the collection of labelled photos, its check on a contact sheet, training, and which model is active."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, get_args

from app.present.block import capital
from app.services.activation import activate
from app.services.collection import carry_out_all, labeller, own_collection, plants_of
from app.services.home import registry
from app.web import new_photos
from app.web.context import Context
from app.web.frame import Address, Fields, FormError, one, render
from app.web.learning_work import (
    EACH,
    STAGES,
    fingerprint,
    needs_torch,
    start_check,
    start_fetching,
    start_training,
    work,
)
from app.web.model_figures import last_figures
from app.web.model_words import model_words
from app.web.new_photos import name_of_label

if TYPE_CHECKING:
    from training.data.manifest import LabelledPhoto

ADDRESS = "/training"
NOBODY = ("root", "unknown")  # no names of people


def body(context: Context, address: Address) -> str:
    """What the page shows."""
    from training.audit.settings import load_settings  # as all of training: it takes a second, which the start does not

    collection, kept = own_collection(), registry()
    plants, photos = plants_of(collection, context.key.flora), collection.photos()
    called, last = name_of_label(plants), last_figures()
    return render(
        "learning.html",
        rows=counts(photos, called),
        photos=len(photos),
        state=work.state,
        stages=STAGES,
        species=sorted((str(plant.common_names[0]), name) for name, plant in plants.items()),
        waiting=new_photos.waiting(address),
        models=kept.installed(),
        charge=kept.in_charge(),
        can_undo=kept.pointer().previous is not None,
        enough=load_settings().enough,
        by="" if labeller("") in NOBODY else labeller(""),
        each=EACH,
        needs_torch=needs_torch(),
        model_words=model_words,
        called=called,
        in_words=lambda text: new_photos.for_the_page(text, called),
        last=last,
        same_as_last=bool(photos) and last.get("learned_from") == fingerprint(photos),
    )


def counts(photos: Sequence[LabelledPhoto], called: Callable[[str], str]) -> list[dict[str, Any]]:
    """Photos and groups of each species by its name, and what it still needs to be learned."""
    from training.audit.settings import load_settings
    from training.audit.shortage import find_shortages

    labels = [photo.label for photo in photos]
    groups = Counter(label for label, _ in {(photo.label, photo.group) for photo in photos})
    shortages = find_shortages(labels, [photo.group for photo in photos], load_settings().enough)
    short = {shortage.species: shortage.missing for shortage in shortages}
    rows = [
        {"name": called(label), "photos": count, "groups": groups[label], "short": short.get(label, "")}
        for label, count in Counter(labels).items()
    ]
    return sorted(rows, key=lambda row: str(row["name"]))


def take_files(context: Context, files: Sequence[Path]) -> tuple[Address, list[str]]:
    """Take in what was chosen; it waits where something must be asked about it first."""
    return new_photos.take_files(_plants(context), files)


def act(context: Context, address: Address, do: str, fields: Fields, which: str) -> tuple[Address, list[str]]:
    """What a button does: where to go, and what to say. Raises SwardkeyError where it cannot be."""
    match do:
        case "name":
            return new_photos.add(address, fields, _plants(context))
        case "drop":
            new_photos.discard(address)
            return {}, []
        case "decide":
            return {}, [_carry_out_decisions(fields, _plants(context))]
        case "check":
            start_check(_photos())
        case "train":
            start_training(_photos(), "quick", name_of_label(_plants(context)))
        case "train_full":
            if needs_torch():
                raise FormError("Full training needs torch, which is not installed here; the page says how to add it.")
            start_training(_photos(), "full", name_of_label(_plants(context)))
        case "fetch":
            start_fetching(fields, name_of_label(_plants(context)))
        case "stop":
            work.stop()
        case "clear":
            work.clear()
        case "undo" | "use" | "activate":
            return address, [capital(_change_model(do, fields))]
        case _:
            raise FormError("The collection had changed since this page was loaded; it is up to date now.")
    return address, []


def _plants(context: Context) -> Mapping[str, Any]:
    return plants_of(own_collection(), context.key.flora)


def _photos() -> list[LabelledPhoto]:
    photos = own_collection().photos()
    if not photos:
        raise FormError("The collection holds no photos yet; add some first.")
    return photos


def _carry_out_decisions(fields: Fields, plants: Mapping[str, Any]) -> str:
    """Carry out what was decided on the contact sheet."""
    from training.audit.decisions import Action, Decision

    collection = own_collection()
    labels = {photo.name: photo.label for photo in collection.photos()}
    known, decisions = {*plants, *labels.values()}, []
    for name, values in fields.items():
        photo, (action, _, species) = name.removeprefix("on-"), values[0].partition(":")
        if name.startswith("on-") and photo in labels and action in get_args(Action):
            if action == "relabel" and species not in known:
                raise FormError(f'"{species[:60]}" is not on file; choose one of the names that are offered.')
            decisions.append(Decision(photo, labels[photo], action, species))  # type: ignore[arg-type]  # one of these
    done = carry_out_all(collection, decisions, by="")
    work.clear()
    return f"{done['relabel']} relabelled, {done['drop']} dropped, {done['keep']} kept as they are."


def _change_model(do: str, fields: Fields) -> str:
    """Activate another model; one that was turned down, on a person's word."""
    model = one(fields, "model")
    if do == "use":
        return f"{model_words(registry().use(model).name)} is active now."
    if do == "undo":
        before, found = registry().in_charge().name, registry().undo().name
        work.clear()
        return f"{model_words(found)} is active again, instead of {model_words(before)}."
    by, because = one(fields, "by"), one(fields, "because")
    if not by or not because:
        raise FormError("Give your name and your reason; both are logged.")
    found = activate(model, by, because).name
    work.clear()
    return f"{model_words(found)} is active now, as you decided."
