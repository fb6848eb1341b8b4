"""Learning shared without photos: make a file of statistics, see what the files of others would bring, join, take out.

Libraries are imported within functions: small commands start with this module.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from app.services.collection import open_all
from app.services.home import features_file, registry
from model.errors import CollectionError, ModelError, nearest

if TYPE_CHECKING:
    from training.gate import Override, Promotion
    from training.recipes.prepare import Prepared
    from training.registry.models import InCharge
    from training.sharing.join_decision import Bench
    from training.sharing.joined_model import Gift, JoinedModel
    from training.sharing.screen import Screen
    from training.sharing.shared_file import Header

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class JoinPlan:
    """What the files of others would bring to the active model: nothing is changed yet.

    ``gifts`` are all that the model would have; ``arriving`` those of the files, ``replaced`` the names of earlier ones
    of the same givers.
    """

    model: JoinedModel
    gifts: tuple[Gift, ...]
    arriving: tuple[Gift, ...]
    replaced: tuple[str, ...]
    bench: Bench

    def rows(self) -> list[tuple[str, str, str, str, str]]:
        """One row a species: giver, species, photos, groups, and what becomes of it."""
        found = []
        for entry in (gift.entry for gift in self.arriving):
            for name, given in entry.species.items():
                known = "added to what is known" if name in self.model.own.species else "new"
                left = entry.left_out.get(name)
                fate = f"left out: it {left}" if left else known
                found.append((entry.giver, name, str(given.photos), str(given.groups), fate))
        return found

    def as_json(self) -> dict[str, Any]:
        """The same as plain data."""
        entries = [gift.entry.model_dump(mode="json") for gift in self.arriving]
        return {"model": self.model.name, "joining": entries, "replaced": list(self.replaced)}


def share_statistics(
    out: Path, species: Sequence[str], *, giver: str, licence: str = "CC0", note: str = "",
    folder: Path | None = None, progress: Progress = lambda *step: None,
) -> Header:  # fmt: skip
    """Write the statistics of chosen species, of all that have enough photos without ``species``, to a new file.

    Raises CollectionError for too few photos, an unknown species or a file that cannot be written.
    """
    from training.collection.licence import licence_of
    from training.sharing.give import counts_of, give, is_enough
    from training.sharing.shared_file import is_open
    from training.sharing.sharing_rules import load_sharing_rules

    if not giver.strip():
        raise CollectionError("say with --by NAME who gives it; others will see that name, and take it out by it")
    short = licence_of(licence)
    if not is_open(short):
        raise CollectionError(f"--licence {licence}: is not an open licence; give CC0, CC BY or CC BY-SA")
    if out.exists() or not out.absolute().parent.is_dir():
        raise CollectionError(f"{out}: is there already, or its folder is not; name a new file")
    collection, names, flora = open_all(folder)
    chosen = [_species_named(text, names, flora.species) for text in species]
    photos = _prepared(folder, progress)
    if photos is None:
        raise CollectionError(f"{collection.folder}: holds too few photos to share; add some with swardkey collect add")
    rules = load_sharing_rules()
    counts = counts_of(photos.data)
    chosen = chosen or [name for name, given in counts.items() if name in flora.species and is_enough(given, rules)]
    try:
        header, data = give(photos.data, chosen, rules, giver=giver, day=date.today(), licence=short, note=note)
    except ValueError as error:  # a name or note that a file may not hold
        raise CollectionError("--by and --note: give plain text of at most 200 characters on one line") from error
    _write(out, data)
    return header


def plan_join(files: Sequence[Path], folder: Path | None = None, progress: Progress = lambda *step: None) -> JoinPlan:
    """What joining ``files`` to the active model would bring. Raises ModelError for a file that cannot be taken."""
    from training.gate import load_rules
    from training.recipes.recipe import load_recipe
    from training.sharing.join_decision import Bench
    from training.sharing.joined_model import Entry, Gift, active_model
    from training.sharing.shared_file import read_shared
    from training.sharing.sharing_rules import load_sharing_rules

    rules = load_sharing_rules()
    shared = [(file, read_shared(file, rules)) for file in files]  # before anything slow
    model = active_model(registry(), rules)
    photos = _prepared(folder, progress)
    screen, arriving = _screen(model, photos, folder), dict[str, Gift]()
    for file, found in shared:
        try:
            entry = Entry.of(found, screen.left_out(found.statistics), rules)
        except ModelError as error:
            raise ModelError(f"{file}: {error}") from None
        if entry.name in arriving:
            raise ModelError(f"{file}: {entry.giver} gives twice; join the later file alone, as it holds all")
        arriving[entry.name] = Gift(entry, found)
    useful = tuple(gift for gift in arriving.values() if gift.entry.taken)
    names = {gift.entry.name for gift in useful}
    kept = tuple(gift for gift in model.gifts if gift.entry.name not in names)
    replaced = tuple(gift.entry.name for gift in model.gifts if gift.entry.name in names)
    bench = Bench(photos, load_recipe("quick"), load_rules(), features_file())
    order = sorted((*kept, *useful), key=lambda gift: gift.entry.name)
    return JoinPlan(model, tuple(order), tuple(arriving.values()), replaced, bench)


def carry_out_join(plan: JoinPlan, override: Override | None) -> Promotion:
    """Join what the plan takes, if the gate allows it. Raises ModelError where nothing of it can be taken."""
    from training.sharing.join_decision import join_gifts

    if not any(gift.entry.taken for gift in plan.arriving):
        raise ModelError("nothing was joined: every species is left out; swardkey models join --dry-run says why")
    return join_gifts(plan.model, plan.gifts, registry(), plan.bench, override)


def take_out(names: Sequence[str]) -> InCharge:
    """The active model without what some givers gave; activated. Raises ModelError for others."""
    from training.sharing.join_decision import take_out_gifts
    from training.sharing.joined_model import active_model
    from training.sharing.sharing_rules import load_sharing_rules

    return take_out_gifts(active_model(registry(), load_sharing_rules()), names, registry())


def _screen(model: JoinedModel, photos: Prepared | None, folder: Path | None) -> Screen:
    from model.photo.head import fit_statistics
    from model.photo.saved import STARTER, read_model
    from training.sharing.screen import Screen
    from training.sharing.sharing_rules import load_sharing_rules

    collection, _, flora = open_all(folder)
    references = {"the starter's class": read_model(STARTER)[0]}
    if photos is not None:
        references["your own photos"] = fit_statistics(photos.data.x, photos.data.labels)
    own, shrinkage = model.own.statistics, model.own.calibration.shrinkage
    known = {*flora.species, *collection.own_species()}
    return Screen(own, shrinkage, references, known, load_sharing_rules())


def _prepared(folder: Path | None, progress: Progress) -> Prepared | None:
    """One's own photos as a training takes them; None where there are too few for any."""
    from training.recipes.prepare import prepare
    from training.recipes.recipe import load_recipe

    photos = open_all(folder)[0].photos()
    try:
        watch = lambda done, of: progress("looking at the photos", done, of)  # noqa: E731
        return prepare(photos, load_recipe("quick"), features_file(), watch) if photos else None
    except CollectionError:
        return None


def _species_named(text: str, names: Any, known: Mapping[str, Any]) -> str:
    found = names.look_up(text)
    if not isinstance(found, str) or found not in known:
        raise CollectionError(f"{text}: is not one species of the flora; {nearest(text, known)}")
    return found


def _write(out: Path, data: bytes) -> None:
    from model.storage import replace_file

    try:
        replace_file(out, data)
    except OSError as error:
        raise CollectionError(f"{out}: cannot be written ({error.strerror}); name another file") from None
