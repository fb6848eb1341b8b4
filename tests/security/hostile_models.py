"""Model folders that somebody made to do harm, and the files of the registry."""

from __future__ import annotations

import functools
import hashlib
import json
import os
import pickle
import shutil
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
from safetensors.numpy import load_file, save_file

from model.errors import ModelError
from model.photo.evidence import Classifier
from model.photo.head import Statistics
from model.photo.saved import STARTER
from model.photo.tuned import NETWORK, Tuned, TunedClassifier, network_of, read_classifier, save_tuned
from model.photo.weights import read_shipped
from tests.security.hostile_model_files import HEAD, Evil, Spoil, descriptions, headers, values
from tests.security.hostile_networks import networks
from tests.security.hostile_watch import Try
from training.head.conformal import read_sets
from training.registry.model_folder import MANIFEST
from training.registry.models import Registry

TUNED = "tuned.safetensors"


def pickles() -> Iterator[tuple[str, Spoil]]:
    """Pickles, bare and in other clothes, under every name."""

    def zipped(folder: Path) -> None:
        with zipfile.ZipFile(folder / HEAD, "w") as out:
            out.writestr("archive/data.pkl", pickle.dumps(Evil()))

    for name in (
        HEAD,
        TUNED,
        NETWORK,
        "model.json",
        "tuned.json",
        "recipe.json",
        "conformal.json",
        "card.md",
        "model.pkl",
        "model.pt",
        "model.joblib",
        "weights.bin",
        "__init__.py",
        "conftest.yaml",
        MANIFEST,
    ):
        for protocol in (0, 2, 5):
            data = pickle.dumps(Evil(), protocol)
            yield f"{name} protocol {protocol}", lambda folder, n=name, d=data: (folder / n).write_bytes(d)
    yield "as torch packs it", zipped
    yield "as numpy packs it", lambda folder: np.save((folder / HEAD).open("wb"), np.array([Evil()], object))


def links() -> Iterator[tuple[str, Spoil]]:
    """What is no ordinary file."""

    def at(name: str, make: Callable[[Path], object]) -> Spoil:
        def spoil(folder: Path) -> None:
            (folder / name).unlink(missing_ok=True)
            make(folder / name)

        return spoil

    for name in (HEAD, "model.json", "recipe.json", "conformal.json", TUNED, NETWORK):
        for target in (
            str(STARTER / "head.safetensors"),
            "/etc/passwd",
            "/dev/zero",
            "/dev/stdin",
            "nowhere",
            name,
            "..",
        ):
            yield f"{name} to {Path(target).name}", at(name, lambda p, t=target: p.symlink_to(t))
        yield f"{name} a pipe", at(name, os.mkfifo)
        yield f"{name} a folder", at(name, Path.mkdir)
        yield f"{name} missing", at(name, lambda p: None)
    yield "folder within", lambda folder: (folder / "deeper").mkdir()
    yield "name that steers a screen", lambda folder: (folder / "a\x1b[2J.json").write_text("{}")


def others() -> Iterator[tuple[str, Spoil]]:
    """The other JSON files, and the second network."""
    for name in ("recipe.json", "conformal.json"):
        for told, data in {
            "deep": b"[" * 100_000,
            "list": b"[]",
            "cut": b"{",
            "nan": b'{"recipe": NaN}',
            "Latin-1": b'{"\xe9": 1}',
            "long": b'{"a": "' + b"a" * 20_000_000 + b'"}',
            "long number": b"9" * 50_000,
        }.items():
            yield f"{name} {told}", lambda folder, n=name, d=data: (folder / n).write_bytes(d)
    for told, change in {
        "of an older version": {"network.stem.0.weight": np.zeros((32, 3, 3, 3), np.float16)},
        "counts": {"counts": np.zeros(2, np.float32)},
        "linear head": {"linear": np.full((2, 1279), 0, np.float32)},
        "huge linear head": {"linear": np.full((2, 1280), 1e30, np.float32)},
        "scatter": {"scatter_upper": np.full(1280 * 1281 // 2, -1, np.float32)},
    }.items():
        yield (
            f"second network {told}",
            lambda folder, c=change: save_file({**load_file(folder / TUNED), **c}, folder / TUNED),
        )
    for told, data in networks():
        yield f"second network {told}", lambda folder, d=data: (folder / NETWORK).write_bytes(d)
    for told, fields in {
        "classes": {"classes": ["a", "b"]},
        "twice": {"classes": ["stellaria_media"] * 2},
        "weight": {"weights": [1, 1, float("inf")]},
        "weights": {"weights": [1, 1]},
        "another": {"features": "tuned-0"},
    }.items():
        yield (
            f"second network {told}",
            lambda folder, f=fields: (folder / "tuned.json").write_text(
                json.dumps(json.loads((folder / "tuned.json").read_text()) | f)
            ),
        )


def cuts(base: Path, count: int) -> Iterator[tuple[str, Spoil]]:
    """Every file cut short, at ``count`` places in all."""
    names = [HEAD, TUNED, NETWORK, "model.json", "tuned.json", "conformal.json"]
    for n in range(count):
        name = names[n % len(names)]
        size = (base / name).stat().st_size
        place = int(size * (n / count)) if n % 2 else min(n // len(names), size - 1)
        yield f"{name} at {place}", lambda folder, s=name, p=place: os.truncate(folder / s, p)


def second_network(statistics: Statistics) -> Tuned:
    """The shipped network as a second one, with a linear head that says nothing."""
    classes = len(statistics.classes)
    return Tuned(read_shipped(), statistics, 0.1, np.zeros((classes, 1280)), np.zeros(classes), (0.5, 0.5, 0.1))


def base_model(folder: Path) -> Path:
    """The shipped model with a second network, which is the same."""
    shutil.copytree(STARTER, folder)
    known = read_classifier(STARTER).statistics
    rows = [known.classes.index(name) for name in ("stellaria_media", "trifolium_repens")]
    two = Statistics(tuple(known.classes[row] for row in rows), known.counts[rows], known.means[rows], known.scatter)
    save_tuned(folder, second_network(two))
    return folder


def use(folder: Path) -> Classifier:
    """All that is read of a model before it is used."""
    found = read_classifier(folder)
    if isinstance(found, TunedClassifier):
        network_of(found.tuned.network, 1)
    read_sets(folder)
    return found


@functools.cache
def shipped() -> Classifier:
    return use(STARTER)


def place(folder: Path, models: Path) -> None:
    """Put a folder among the models as one who can write there would: with a list of files that fits."""
    lines = []
    for path in sorted(folder.iterdir()):
        whole = path.is_file() and path.name != MANIFEST
        data = path.read_bytes() if whole else b""
        lines.append(f"{hashlib.sha256(data).hexdigest()}  {path.name}\n")
    manifest = "".join(line for line in lines if not line.endswith(f" {MANIFEST}\n")).encode("utf-8", "replace")
    name = f"20260101T000000Z-{hashlib.sha256(manifest).hexdigest()[:8]}"
    shutil.rmtree(models, ignore_errors=True)
    models.mkdir(parents=True)
    folder.rename(models / name)
    if not (models / name / MANIFEST).exists():
        (models / name / MANIFEST).write_bytes(manifest)
    (models / "current.json").write_text(json.dumps({"current": name, "previous": None, "at": ""}))


def in_charge(models: Path) -> None:
    """Load what is in charge: it is the model that was chosen, or another one and a note that says so."""
    registry = Registry(models)
    try:
        chosen = registry.pointer().current
    except ModelError:
        chosen = ""
    found = registry.load(lambda folder: shipped() if folder == STARTER else use(folder))[1]
    registry.installed()
    registry.history()
    if found.name != chosen and not (0 < len(found.note) < 900 and found.note.isprintable()):
        raise AssertionError(f"{found} does not say what is wrong")


def pointers() -> Iterator[tuple[str, str, Spoil]]:
    """The small files of the registry."""
    deep = b"[" * 100_000
    texts = [
        b"",
        b"[]",
        b"null",
        b"3",
        deep,
        b'{"current": [], "at": ""}',
        b'{"current": "../../x"}',
        b'{"current": "starter", "x": 1}',
        b'{"current": "starter", "previous": {}}',
        b'{"current": "starter", "previous": ""}',
        b'{"current": 0}',
        b'{"current": null}',
        b'{"current": "20260101T000000Z-aaaaaaaa", "previous": ["x"]}',
        b'{"current": "20260101T000000Z-aaaaaaaa"}',
        b'{"current": "' + b"x" * 200_000 + b'"}',
        b"9" * 9000,
        b"\xff\xfe",
        b'{"current": "a", "current": "starter"}',
    ]
    for name in ("current.json", "pinned.json", "promotions.jsonl"):
        for data in texts:
            yield name, str(data[:40]), lambda models, n=name, d=data: (models / n).write_bytes(d)
        for told, make in {
            "a pipe": os.mkfifo,
            "endless": lambda p: p.symlink_to("/dev/zero"),
            "a folder": Path.mkdir,
        }.items():
            yield name, told, lambda models, n=name, m=make: ((models / n).unlink(missing_ok=True), m(models / n))
    lists = {
        "endless": lambda p: p.symlink_to("/dev/zero"),
        "a pipe": os.mkfifo,
        "binary": lambda p: p.write_bytes(b"\xff" * 99),
        "long": lambda p: p.write_bytes((b"0" * 64 + b"  model.json\n") * 300_000),
        "nothing": lambda p: p.write_bytes(b""),
    }
    for told, make in lists.items():
        yield (
            MANIFEST,
            told,
            lambda models, m=make: [((f / MANIFEST).unlink(), m(f / MANIFEST)) for f in models.iterdir() if f.is_dir()],
        )


def tries(box: Path, count: int = 200) -> Iterator[Try]:
    """Every hostile model: read, installed, and found in charge. ``count``: places at which files are cut."""
    base = base_model(box / "base")
    models = box / "home" / "models"
    spoils = {
        "header": [(n, lambda folder, d=d: (folder / HEAD).write_bytes(d)) for n, d in headers()],
        "arrays": list(values()),
        "model.json": list(descriptions()),
        "pickle": list(pickles()),
        "link or no file": list(links()),
        "other files": list(others()),
        "cut short": list(cuts(base, count)),
    }
    for kind, listed in spoils.items():
        for name, spoil in listed:
            yield from _three(kind, name, spoil, base, box, models, count >= 200 and kind != "cut short")
    for file, name, spoil in pointers():

        def act(spoil: Spoil = spoil) -> None:
            shutil.rmtree(box / "in", ignore_errors=True)
            place(Path(shutil.copytree(base, box / "in")), models)
            spoil(models)
            in_charge(models)

        yield Try(f"model: {file}", name, act)


def _three(kind: str, name: str, spoil: Spoil, base: Path, box: Path, models: Path, all_ways: bool) -> Iterator[Try]:
    def fresh() -> Path:
        shutil.rmtree(box / "in", ignore_errors=True)
        folder = Path(shutil.copytree(base, box / "in"))
        spoil(folder)
        return folder

    def charge() -> None:
        place(fresh(), models)
        in_charge(models)

    yield Try(f"model: {kind}, read", name, lambda: use(fresh()))
    if all_ways:
        yield Try(f"model: {kind}, installed", name, lambda: Registry(models).install(fresh()))
        yield Try(f"model: {kind}, in charge", name, charge)
