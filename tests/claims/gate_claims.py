"""What the gate and the registry promise, measured.

``python -m tests.claims.gate_claims PHOTOS CACHE [gate] [kills]``: PHOTOS is the folder of real
photos, CACHE a safetensors file of features (training.data.features). Features of wrongly prepared
photos are made once, in some minutes, and kept beside CACHE.
"""

from __future__ import annotations

import errno
import hashlib
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import warnings
from multiprocessing import Pipe, get_context
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from safetensors.numpy import load_file, save_file

from model.errors import ModelError
from model.photo.evidence import Classifier
from model.photo.extract import Extractor
from model.photo.sandbox import open_photo
from model.photo.saved import STARTER, read_model, save_model
from model.photo.views import SIDE, views
from tests.claims.regressions import Bench, bench, planted, redealt
from tests.security.killed import run
from training.audit.settings import load_settings
from training.data.duplicates import find_duplicates
from training.data.look import look_at
from training.data.manifest import LabelledPhoto
from training.gate import compare, load_rules
from training.recipes.decide import copies
from training.recipes.make_starter import read_data
from training.recipes.recipe import load_recipe
from training.registry.model_folder import fault_of
from training.registry.models import KEPT, Registry

Array = NDArray[np.float64]
DRAWS = 200
KILLS = 20
A_CLASS = 20  # held-out photos of each class that are prepared wrongly


def wrong_features(photos: list[LabelledPhoto], cache: Path) -> dict[str, Array]:
    """Features of photos as five faults of preparation make them: fault to float (photos, 1280)."""
    known = load_file(cache) if cache.exists() else {}
    extractor = None
    found: dict[str, list[NDArray[np.float32]]] = {}
    for photo in photos:
        name = hashlib.sha256(photo.file.read_bytes()).hexdigest()
        if f"channels swapped-{name}" not in known:
            extractor = extractor or Extractor()
            for fault, batch in wrongly_prepared(open_photo(photo.file).pixels).items():
                known[f"{fault}-{name}"] = features_of_batch(extractor, batch)
        for key in known:
            if key.endswith(name):
                found.setdefault(key[: -len(name) - 1], []).append(known[key])
    if extractor is not None:
        save_file(known, cache)
    return {fault: np.stack(rows).astype(np.float64) for fault, rows in found.items()}


def wrongly_prepared(pixels: NDArray[np.uint8]) -> dict[str, tuple[NDArray[np.float32], ...]]:
    """What the backbone would see of a photo, by fault."""
    stacks = views(pixels)
    mean = np.array([0.485, 0.456, 0.406], np.float32)[None, :, None, None]
    spread = np.array([0.229, 0.224, 0.225], np.float32)[None, :, None, None]
    whole = np.asarray(Image.fromarray(pixels).resize((SIDE, SIDE), Image.Resampling.BILINEAR), dtype=np.float32)
    return {
        "channels swapped": tuple(right[:, ::-1] for right in stacks),
        "scaled 0 to 1": tuple((right + 1) / 2 for right in stacks),
        "scaled by mean and spread": tuple(((right + 1) / 2 - mean) / spread for right in stacks),
        "not scaled": tuple((right + 1) * 127.5 for right in stacks),
        "squashed into one view": ((whole.transpose(2, 0, 1) / 127.5 - 1)[None],),
    }


def features_of_batch(extractor: Extractor, stacks: tuple[NDArray[np.float32], ...]) -> NDArray[np.float32]:
    """As Extractor.features, from views that were made otherwise."""
    whole = tuple(np.ascontiguousarray(stack, dtype=np.float32) for stack in stacks)
    return np.asarray(extractor.features_of_views(whole), dtype=np.float32)


def real_bench(folder: Path, cache: Path) -> Bench:
    """The bench of real photos, with the recipe of the starter."""
    recipe = load_recipe("quick")
    data = read_data(folder, recipe, cache)
    held_out, rules = data.part("held_out"), load_rules()
    seen: dict[str, int] = {}
    rows = []
    for row, label in enumerate(held_out.labels):
        seen[label] = seen.get(label, 0) + 1
        if seen[label] <= A_CLASS:
            rows.append(row)
    wrong = wrong_features([held_out.photos[row] for row in rows], cache.with_suffix(".wrong.safetensors"))
    wrong["square root forgotten"] = held_out.x[rows] ** 2
    settings = load_settings()
    looks = look_at(data.photos, settings.quality.blur_side)
    alike = copies(data, find_duplicates(data.photos, looks, data.x, settings.duplicates).clusters)
    return bench(data, recipe, rules, wrong, np.array(rows), alike)


def claim_regressions(on: Bench) -> None:
    """The table of planted regressions."""
    print("\n| planted regression | verdict | rules that it breaks |\n|---|---|---|")
    found = []
    for name, held_out in planted(on):
        verdict = compare(held_out, on.rules)
        found.append(verdict.decision == "keep")
        print(f"| {name} | {verdict.decision} | {', '.join(r.name for r in verdict.failed)} |", flush=True)
    print(f"\nturned down: {sum(found)} of {len(found)}")


def claim_identical(on: Bench) -> None:
    """An identical model, on other deals of the groups."""
    found = [compare(redealt(on, seed), on.rules) for seed in range(DRAWS)]
    accepted = sum(verdict.decision == "promote" for verdict in found)
    broken = sorted({rule.name for verdict in found for rule in verdict.failed})
    print(f"identical model accepted: {accepted} of {DRAWS} ({accepted / DRAWS:.1%}); rules broken: {broken or 'none'}")


def claim_better(on: Bench, tries: int = 10) -> None:
    """A model from all photos against one from some of the groups; and the other way round."""
    random = np.random.default_rng(11)
    groups = np.array(on.data.groups)
    for share in (0.33, 0.66):
        forth = back = 0
        broken: list[str] = []
        for _ in range(tries):
            fit = np.unique(groups[on.data.parts == "fit"])
            kept = set(random.choice(fit, round(share * len(fit)), replace=False))
            less = on.fit(
                lambda labels, parts, kept=kept: [
                    "" if part == "fit" and group not in kept else label
                    for label, part, group in zip(labels, parts, groups, strict=True)
                ]
            )
            worse = on.against(less)
            forth += compare(worse, on.rules).decision == "keep"
            better = Bench(**{**vars(on), "good": less}).against(on.good)
            verdict = compare(better, on.rules)
            back += verdict.decision == "promote"
            broken += [f"{rule.name} ({rule.says})" for rule in verdict.failed]
        print(
            f"{share:.0%} of the groups learned from: turned down against all photos {forth} of {tries}; "
            f"all photos accepted against it {back} of {tries}" + (f"; broken: {'; '.join(broken)}" if broken else ""),
            flush=True,
        )


def two_models(folder: Path) -> tuple[Path, Registry, str]:
    """The folder of a new model, and a registry full of others; the name of the one in charge."""
    statistics, calibration = read_model(STARTER)
    registry = Registry(folder / "models")
    for n in range(KEPT + 1):
        source = folder / f"source {n}"
        save_model(source, statistics, calibration, {"number": n}, f"# Model {n}\n")
        name = registry.install(source)
        if n < KEPT:
            (registry.folder / name).rename(registry.folder / f"2026010{n + 1}{name[8:]}")
    for name in registry.names()[-2:]:
        registry.use(name)
    spoilt = calibration.__class__(**{**vars(calibration), "temperature": calibration.temperature * 2})
    save_model(folder / "new", statistics, spoilt, {}, "# The new model\n")
    return folder / "new", registry, registry.names()[-1]


def first_probability(folder: Path) -> float:
    """One prediction of a model folder."""
    x = np.full((1, 1280), 0.5)
    return float(Classifier(*read_model(folder)).probabilities(x)[0, 0])


def claim_kills(folder: Path) -> None:
    """A promotion killed at every point, KILLS times: exactly the old or the new model, and it predicts."""
    source, registry, old = two_models(folder)
    whole = folder / "whole"
    shutil.copytree(registry.folder, whole)
    steps = run(whole, source, -1).stdout.splitlines()
    new = Registry(whole).in_charge().name
    says = {old[-8:]: first_probability(registry.folder / old), new[-8:]: first_probability(whole / new)}
    good = ended_new = 0
    for point in range(len(steps)):
        for _ in range(KILLS):
            models = folder / "tried"
            shutil.copytree(registry.folder, models)
            killed = run(models, source, point).returncode == -signal.SIGKILL
            found = Registry(models).in_charge()
            sound = found.note == "" and fault_of(found.folder) == ""
            whole_all = all(m.fault == "" for m in Registry(models).installed())
            predicts = first_probability(found.folder) == says.get(found.name[-8:])
            good += killed and sound and whole_all and predicts
            ended_new += found.name[-8:] == new[-8:]
            shutil.rmtree(models)
    total = len(steps) * KILLS
    print(f"killed at {len(steps)} points, {KILLS} times each: {good} of {total} on exactly the old or the new model")
    print(f"  old {total - ended_new}, new {ended_new}; the points: {', '.join(steps)}")


def claim_full_disk(folder: Path) -> None:
    """A real file system that is full, of every size from too small to just enough; root only."""
    source, registry, old = two_models(folder)
    need = sum(p.stat().st_size for p in registry.folder.rglob("*") if p.is_file())
    new = sum(p.stat().st_size for p in source.iterdir())
    disk, good, refused, tries = folder / "disk", 0, 0, 0
    disk.mkdir()
    for spare in np.linspace(0.0, 1.25, 26):
        size = (int(need + spare * new) // 4096 + 64) * 4096
        subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", str(disk)], check=True)
        try:
            models = disk / "models"
            shutil.copytree(registry.folder, models)
            done = run(models, source, -1)
            refused += done.returncode != 0 and os.strerror(errno.ENOSPC) in done.stderr
            found = Registry(models).in_charge()
            parts = [p.name for p in models.iterdir() if p.name.startswith(".new") or p.suffix == ".new"]
            chosen = (found.name == old) == (done.returncode != 0)
            good += chosen and found.note == "" and fault_of(found.folder) == "" and not parts
            tries += 1
        finally:
            subprocess.run(["umount", str(disk)], check=True)
    print(f"disk full: {good} of {tries} sizes of disk left no part ({refused} were refused)")


def claim_no_permission(folder: Path) -> None:
    """A folder that may not be written: the same as another user than root, in a fork."""
    source, registry, old = two_models(folder)
    for path in (folder, *folder.rglob("*")):
        path.chmod(0o755 if path.is_dir() else 0o644)
    here, there = Pipe()

    def as_nobody() -> None:
        os.setuid(65534)
        try:
            there.send(f"promoted {registry.install(source)}")
        except ModelError as error:
            there.send(str(error))

    child = get_context("fork").Process(target=as_nobody)
    child.start()
    child.join()
    same = registry.in_charge().name == old and fault_of(registry.folder / old) == ""
    print(f"no permission: {here.recv()!r}; old model in charge and whole: {same}")


def main(arguments: list[str]) -> None:
    """Print what is measured; see the module's docstring."""
    what = set(arguments[2:]) or {"gate", "kills"}
    warnings.filterwarnings("ignore", message="The least populated class")
    if "gate" in what:
        on = real_bench(Path(arguments[0]), Path(arguments[1]))
        claim_regressions(on)
        claim_identical(on)
        claim_better(on)
    if "kills" in what:
        for claim in (claim_kills, claim_full_disk, claim_no_permission):
            if claim in (claim_full_disk, claim_no_permission) and os.name != "nt" and os.geteuid() != 0:
                print(f"{claim.__name__}: only root can try it")
                continue
            with tempfile.TemporaryDirectory() as folder:
                claim(Path(folder))


if __name__ == "__main__":
    main(sys.argv[1:])
