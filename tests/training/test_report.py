"""Models measured on a folder of photos, the page about it, the probes, and how labels are read."""

from __future__ import annotations

import base64
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from model.errors import CollectionError
from model.photo.evidence import Calibration, Classifier
from model.photo.head import fit_statistics
from training.collection.names import Names
from training.data.labelled import read_labelled
from training.data.manifest import LabelledPhoto
from training.evaluate import Measured, measure_model
from training.evaluate.figures import null_band, reliability
from training.evaluate.probes import background_probe, border, grouped_gap
from training.evaluate.report_page import confusions, mistakes, write_page
from training.head.conformal import conformalize, save_sets

NAMES = {"a": "ant <weed>", "b": "bee weed", "c": "sea weed"}


def photo(
    label: str, group: str, name: str, known: bool = True, file: Path = Path("none"), source: str = "s"
) -> LabelledPhoto:
    return LabelledPhoto(file, name, label, group, known, source, "us", "ours")


def classifier(seed: int = 0) -> tuple[Classifier, dict[str, np.ndarray]]:
    """A head over a, b and other:x in ten dimensions, and the middle of each class, with c that it does not know."""
    random = np.random.default_rng(seed)
    centres = {label: random.normal(0, 2, 10) for label in ("a", "b", "other:x", "c")}
    labels = [label for label in ("a", "b", "other:x") for _ in range(40)]
    x = np.stack([centres[label] + random.normal(0, 1, 10) for label in labels])
    return Classifier(fit_statistics(x, labels), Calibration(0.2, 1.0, (0, 0.4, 1.2, 0.5), 0.02, 0.5)), centres


@pytest.fixture(autouse=True)
def small_forests(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("training.evaluate.probes.TREES", 20)


@pytest.fixture(scope="module")
def measured(tmp_path_factory: pytest.TempPathFactory) -> Measured:
    """Twelve photos a class from six groups; photos of c, which the model does not know."""
    folder = tmp_path_factory.mktemp("photos")
    random = np.random.default_rng(1)
    model, centres = classifier()
    photos, rows = [], []
    for place, label in enumerate(("a", "b", "other:x", "c")):
        for n in range(12):
            file = folder / f"{place}{n}.jpg"
            pixels = random.integers(0, 255, (70, 90, 3)).astype(np.uint8)
            Image.fromarray(pixels).save(file)
            photos.append(photo(label, f"{label} {n // 2}", file.name, True, file, "one" if n % 2 else "two"))
            rows.append(centres[label] + random.normal(0, 1.4, 10))
    p = model.probabilities(np.stack(rows))
    truth = np.array([{"a": 0, "b": 1}.get(q.label, 2) for q in photos])
    save_sets(folder, conformalize(p, truth, 0.9, ("a", "b", "other")))
    return measure_model("m", folder, model, photos, np.stack(rows))


def test_the_json_has_exactly_the_keys_that_others_rely_on(measured: Measured) -> None:
    found = measured.as_json()
    assert list(found) == [
        "photos", "species", "top1", "top3", "balanced_top1", "nll", "ece", "coverage", "mean_set_size", "per_species",
    ]  # fmt: skip
    assert (found["photos"], found["species"]) == (48, 3)
    assert found["coverage"] is not None and found["mean_set_size"] > 0
    assert list(found["per_species"]) == ["a", "b", "c", "other"]


def test_species_that_the_model_does_not_know_count_as_other_and_are_told_apart(measured: Measured) -> None:
    by = measured.as_json()["per_species"]
    assert [by[s]["known"] for s in ("a", "b", "c", "other")] == [True, True, False, True]
    said_other = measured.probabilities.argmax(axis=1)[36:] == 2
    assert by["c"]["top1"] == said_other.mean()
    assert by["c"]["low"] <= by["c"]["top1"] <= by["c"]["high"]
    assert set(measured.figures.per_class) == {"a", "b", "other"}


def test_a_model_without_sets_has_no_coverage(tmp_path: Path, measured: Measured) -> None:
    model, _ = classifier()
    found = measure_model("m", tmp_path, model, measured.photos, measured.x).as_json()
    assert found["coverage"] is None and found["mean_set_size"] is None


def test_the_page_stands_alone_and_names_are_escaped(measured: Measured, tmp_path: Path) -> None:
    out = tmp_path / "page.html"
    write_page(out, measured, NAMES)
    text = out.read_text(encoding="utf-8")
    assert not re.search(
        r"""(src|href|url)\s*[=(]\s*["']?(https?:)?//""",
        text.replace('xmlns:xlink="http://', "").replace('xmlns="http://', ""),
    )
    assert "<script" not in text and "ant <weed>" not in text and "ant &lt;weed&gt;" in text
    assert text.count("<svg") == 3 and text.count("data:image/jpeg;base64,") == len(mistakes(measured, str))
    for words in ("Confusion matrix", "Reliability curve", "By source", "random split", "background", "worst errors"):
        assert words in text
    assert "points: a head fitted anew on 48 photos" in text and "from eight pixels of the border alone" in text
    assert "sea weed (not known)" in text and "counted as other plants" in text
    assert sorted(p.name for p in tmp_path.iterdir()) == ["page.html"]
    assert reliability(measured) in text, "the figure of the same numbers is the same text"


def test_the_worst_errors_come_first_and_hold_no_metadata(measured: Measured, tmp_path: Path) -> None:
    file = tmp_path / "place.jpg"
    exif = Image.Exif()
    exif[0x8825] = {1: "S", 2: (37.0, 48.0, 49.0)}
    exif[0x010E] = "secret garden"
    Image.fromarray(np.random.default_rng(1).integers(0, 255, (80, 80, 3)).astype(np.uint8)).save(file, exif=exif)
    assert b"secret garden" in file.read_bytes()
    shown = mistakes(replace(measured, photos=tuple(replace(p, file=file) for p in measured.photos)), str)
    assert [e.own for e in shown] == sorted(e.own for e in shown) and len(shown) <= 12
    assert shown, "the made-up photos are hard enough to be confused"
    data = base64.b64decode(str(shown[0].picture).split(",", 1)[1])
    assert data[:2] == b"\xff\xd8" and b"secret" not in data and b"Exif" not in data


def test_confusions_count_what_the_matrix_counts(measured: Measured) -> None:
    said = measured.probabilities.argmax(axis=1)
    assert sum(c.times for c in confusions(measured, str)) == (said != measured.truth).sum()


def test_a_calibrated_model_lies_in_the_band() -> None:
    random = np.random.default_rng(3)
    confidence = random.uniform(0.3, 1.0, 2000)
    parts = np.array_split(np.argsort(confidence), 10)
    inside = []
    for seed in range(12):
        right = random.random(2000) < confidence
        low, high = null_band(confidence, parts, seed)
        share = np.array([right[part].mean() for part in parts])
        inside.append(((share >= low) & (share <= high)).mean())
    assert np.mean(inside) == pytest.approx(0.95, abs=0.03)


def test_a_random_split_flatters_where_groups_are_alike() -> None:
    """Groups of four copies whose class is a coin: only a split by photo can name them."""
    random = np.random.default_rng(4)
    photos, rows = [], []
    for group in range(60):
        middle = random.normal(0, 1, 30)
        for n in range(4):
            photos.append(photo("ab"[group % 2], f"g{group}", f"{group}/{n}"))
            rows.append(middle + random.normal(0, 0.05, 30))
    found = grouped_gap(np.stack(rows), photos, 0.05)
    assert found is not None and (found.photos, found.groups, found.classes) == (240, 60, 2)
    assert found.by_photo - found.by_group > 0.1
    assert abs(found.by_group - 0.5) < 0.2
    unknown = [replace(p, group_known=False) for p in photos]
    assert grouped_gap(np.stack(rows), unknown, 0.05) is None


def test_the_background_probe_sees_a_border_and_no_plant(tmp_path: Path) -> None:
    random = np.random.default_rng(5)

    def made(tell: bool) -> list[LabelledPhoto]:
        photos = []
        for n in range(24):
            label = "ab"[n % 2]
            pixels = random.integers(90, 160, (96, 96, 3))
            # The plant in the middle always tells; the border only if asked for.
            pixels[32:64, 32:64] = 255 if label == "a" else 0
            if tell:
                pixels[:, :, 0] += 60 if label == "a" else 0
            file = tmp_path / f"{tell}{n}.png"
            Image.fromarray(pixels.clip(0, 255).astype(np.uint8)).save(file)
            photos.append(photo(label, f"g{n}", file.name, False, file))
        return photos

    tells, silent = background_probe(made(True)), background_probe(made(False))
    assert tells is not None and tells.accuracy == 1.0 and not tells.gives_away, "1.0 is twice the chance of two"
    assert silent is not None and abs(silent.accuracy - 0.5) < 0.3
    assert border(made(True)[0]).shape == (24,)
    assert background_probe(made(True)[:3]) is None


@pytest.fixture
def names(key: object) -> Names:
    return Names(key.flora)  # type: ignore[attr-defined]


def picture(path: Path) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    Image.effect_noise((80, 80), 60).convert("RGB").save(path)


def test_folders_may_bear_ids_scientific_or_common_names(tmp_path: Path, names: Names) -> None:
    for name in ("trifolium_repens/a.jpg", "Taraxacum officinale/b.JPG", "Bindii/c.png", "_other/path/d.jpg"):
        picture(tmp_path / name)
    picture(tmp_path / "bindii" / "plant 1" / "e.jpg")
    (tmp_path / "bindii" / "notes.txt").write_text("not a photo")
    picture(tmp_path / ".hidden" / "f.jpg")
    found = {p.name: p for p in read_labelled(tmp_path, names)}
    labels = {name: p.label for name, p in found.items()}
    assert labels == {
        "Taraxacum officinale/b.JPG": "taraxacum_officinale",
        "trifolium_repens/a.jpg": "trifolium_repens",
        "Bindii/c.png": "soliva_sessilis",
        "bindii/plant 1/e.jpg": "soliva_sessilis",
        "_other/path/d.jpg": "other:path",
    }
    assert found["bindii/plant 1/e.jpg"].group_known and not found["Bindii/c.png"].group_known


def test_all_unknown_names_are_listed_in_one_sentence(tmp_path: Path, names: Names) -> None:
    for name in ("clovr", "dandelion", "thing"):
        picture(tmp_path / name / "a.jpg")
    with pytest.raises(CollectionError) as error:
        read_labelled(tmp_path, names, {"white clover": "", "clover": ""})
    text = str(error.value)
    assert "clovr, thing" in text and "dandelion" not in text and "did you mean clover?" in text and "\n" not in text


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda folder: None, "holds no photos"),
        (lambda folder: picture(folder / "loose.jpg"), "is not in a folder named after a species"),
        (lambda folder: picture(folder / "_other" / "loose.jpg"), "is not in a folder named after a species"),
    ],
)
def test_folders_that_cannot_be_measured_say_why(tmp_path: Path, names: Names, make: object, says: str) -> None:
    make(tmp_path)  # type: ignore[operator]
    with pytest.raises(CollectionError, match=says):
        read_labelled(tmp_path, names)
    with pytest.raises(CollectionError, match="no such folder"):
        read_labelled(tmp_path / "nothing", names)


def test_a_manifest_goes_before_folders(tmp_path: Path, names: Names) -> None:
    picture(tmp_path / "x" / "a.jpg")
    (tmp_path / "manifest.csv").write_text("photo,species,group,source,creator,licence\nx/a.jpg,White clover,g,s,c,l\n")
    (found,) = read_labelled(tmp_path, names)
    assert (found.label, found.group, found.group_known) == ("trifolium_repens", "g", True)
