"""Learn: the collection of labelled photos, its check on a contact sheet, training, and which model is active."""

from __future__ import annotations

import itertools
import shutil
from collections import Counter
from collections.abc import Callable, Sequence, Set
from pathlib import Path
from typing import TYPE_CHECKING, Any

from app.services.collection import carry_out, checked, labeller, plan_addition
from app.services.home import home, registry
from app.web.background import Work
from app.web.context import Context
from app.web.draft import ID, new_id
from app.web.frame import Address, Fields, FormError, one, render
from app.web.model_figures import draw_figures, last_figures
from app.web.model_words import in_words, model_words
from app.web.uploads import put_away
from model.errors import CollectionError, SwardkeyError

if TYPE_CHECKING:
    from training.collection import Collection

ADDRESS = "/training"
MOST_ASKED = 60  # photos on the contact sheet at a time
work = Work()


def body(context: Context, address: Address) -> str:
    """What the page shows."""
    from training.audit.settings import load_settings  # as all of training: it takes a second, which the start does not
    from training.audit.shortage import find_shortages

    collection, kept = own_collection(), registry()
    plants, photos = plants_of(context, collection), collection.photos()
    enough = load_settings().enough
    labels = [photo.label for photo in photos]
    groups = Counter(label for label, _ in {(photo.label, photo.group) for photo in photos})
    shortages = find_shortages(labels, [photo.group for photo in photos], enough)
    short = {shortage.species: shortage.missing for shortage in shortages}
    rows = [
        {"name": called(plants, label), "photos": count, "groups": groups[label], "short": short.get(label, "")}
        for label, count in Counter(labels).items()
    ]
    return render(
        "learning.html",
        rows=sorted(rows, key=lambda row: str(row["name"])),
        photos=len(photos),
        state=work.state,
        species=sorted((plant.common_names[0], name) for name, plant in plants.items()),
        pending=pending(address),
        token=address.get("pending", ""),
        models=kept.installed(),
        charge=kept.in_charge(),
        can_undo=kept.pointer().previous is not None,
        enough=enough,
        by=labeller(""),
        model_words=model_words,
        called=lambda label: called(plants, label),
        last=last_figures(),
    )


def own_collection() -> Collection:
    """The collection of this user."""
    from training.collection import Collection

    return Collection(home() / "collection").open()


def plants_of(context: Context, collection: Collection) -> dict[str, Any]:
    """All plants that a photo may show: the user's own, and those of the flora."""
    return {**collection.own_species(), **context.key.flora.species}


def called(plants: dict[str, Any], label: str) -> str:
    """A label in words."""
    if label not in plants:
        return label.replace("other:", "outside the flora: ").replace("_", " ")
    return str(plants[label].common_names[0])


def waiting_folder(token: str) -> Path:
    """Where photos wait for their name. Raises FormError for what is no such place."""
    if not ID.fullmatch(token):
        raise FormError("These photos are no longer here; choose them again.")
    return home() / "uploads" / "waiting" / token


def pending(address: Address) -> list[str]:
    """The names of photos that wait for their species."""
    token = address.get("pending", "")
    try:
        return sorted(file.name for file in waiting_folder(token).iterdir()) if token else []
    except (OSError, SwardkeyError):
        return []


def take_files(address: Address, files: Sequence[Path]) -> tuple[Address, list[str]]:
    """Uploads wait under a name that no one can guess until they are named; in a zip they are."""
    archives = [file for file in files if file.suffix.lower() == ".zip"]
    notices = [_add(file, "", "") for file in archives]
    photos = [file for file in files if file not in archives]
    if not photos:
        return {}, notices
    token = new_id()
    folder = waiting_folder(token)
    folder.mkdir(parents=True)
    for file in photos:
        # Phones give all photos one name.
        numbered = (f"{file.stem}-{number}{file.suffix}" for number in itertools.count(2))
        name = next(name for name in itertools.chain([file.name], numbered) if not (folder / name).exists())
        shutil.move(file, folder / name)
        put_away(file)
    return {"pending": token}, notices


def _add(path: Path, species: str, by: str) -> str:
    """Add a folder or a zip to the collection; a sentence on what came of it. Raises CollectionError."""
    try:
        collection, plan = plan_addition(path, by, as_name=species)
        if not plan.acceptable:
            raise CollectionError(plan.obstacle.replace(str(path), path.name))
        done = collection.add(plan)
    finally:
        shutil.rmtree(path, ignore_errors=True) if path.is_dir() else put_away(path)
    done_text = f"{done.added} added, {done.known_already} already there"
    return done_text + "".join(f"; left out {refusal.file}: {refusal.why}" for refusal in done.refused[:5]) + "."


def act(context: Context, address: Address, do: str, fields: Fields, which: str) -> tuple[Address, list[str]]:
    """What a button does. Raises SwardkeyError where it cannot be."""
    action = ACTIONS.get(do)
    if action is None:
        raise FormError("The collection had changed since this page was loaded; it is up to date now.")
    return action(context, address, fields)


def _name(context: Context, address: Address, fields: Fields) -> tuple[Address, list[str]]:
    species = one(fields, "species")
    if not species:
        raise FormError("Say what the photos show first.")
    return {}, [_add(waiting_folder(address.get("pending", "")), species, one(fields, "by"))]


def _drop(context: Context, address: Address, fields: Fields) -> tuple[Address, list[str]]:
    shutil.rmtree(waiting_folder(address.get("pending", "")), ignore_errors=True)
    return {}, []


def _check(context: Context, address: Address, fields: Fields) -> tuple[Address, list[str]]:
    collection = own_collection()
    photos = collection.photos()
    if not photos:
        raise FormError("The collection holds no photos yet; add some first.")

    def run(progress: Callable[[int], None]) -> dict[str, Any]:
        report = checked(photos, True, (), None, lambda stage, done, of: progress(done))
        asked = [on_the_sheet(question, names) for question in report.questions()[:MOST_ASKED]]
        return {"kind": "check", "photos": report.photos, "species": report.species, "questions": asked}

    names = {photo.name for photo in photos}
    work.start("The check", len(photos), run)
    return address, []


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


def _decide(context: Context, address: Address, fields: Fields) -> tuple[Address, list[str]]:
    """Carry out what was decided on the contact sheet."""
    from training.audit import Decision

    collection = own_collection()
    labels = {photo.name: photo.label for photo in collection.photos()}
    done = {"keep": 0, "relabel": 0, "drop": 0}
    for name, values in fields.items():
        photo, word = name.removeprefix("on-"), values[0]
        if not name.startswith("on-") or photo not in labels or not word:
            continue
        action, _, species = word.partition(":")
        if action in done:
            carry_out(collection, Decision(photo, labels[photo], action, species), labeller(""))  # type: ignore[arg-type]
            done[action] += 1
    work.clear()
    return {}, [f"{done['relabel']} relabelled, {done['drop']} dropped, {done['keep']} kept as they are."]


def _train(context: Context, address: Address, fields: Fields) -> tuple[Address, list[str]]:
    from app.services.retraining import override_of, train_on

    collection = own_collection()
    photos = collection.photos()
    if not photos:
        raise FormError("The collection holds no photos yet; add some first.")
    by, because = one(fields, "by"), one(fields, "because")
    override = override_of(by, because) if because else None
    plants = plants_of(context, collection)

    def run(progress: Callable[[int], None]) -> dict[str, Any]:
        done = train_on(photos, "quick", override, lambda stage, count, of: progress(count))
        draw_figures(done, lambda label: called(plants, label))
        return {"kind": "train", **in_words(done)}

    work.start("Training", len(photos), run)
    return address, []


def _undo(context: Context, address: Address, fields: Fields) -> tuple[Address, list[str]]:
    before = registry().in_charge().name
    found = registry().undo()
    work.clear()
    return address, [_capital(f"{model_words(found.name)} is active again, instead of {model_words(before)}.")]


def _use(context: Context, address: Address, fields: Fields) -> tuple[Address, list[str]]:
    found = registry().use(one(fields, "model"))
    return address, [_capital(f"{model_words(found.name)} is active now.")]


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _clear(context: Context, address: Address, fields: Fields) -> tuple[Address, list[str]]:
    work.clear()
    return address, []


ACTIONS: dict[str, Callable[[Context, Address, Fields], tuple[Address, list[str]]]] = {
    "name": _name,
    "drop": _drop,
    "check": _check,
    "decide": _decide,
    "train": _train,
    "undo": _undo,
    "use": _use,
    "clear": _clear,
}
