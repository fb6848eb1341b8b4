"""The check of labelled photos: faults, copies, doubtful names, shortages, decisions, the sheet."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageEnhance, ImageFilter

from model.errors import CollectionError
from training.audit import check_photos, load_settings, read_decisions, write_decisions
from training.audit.duplicates import find_duplicates, merged_groups
from training.audit.labels import find_suspects
from training.audit.look import look_at
from training.audit.out_of_sample import out_of_sample
from training.audit.report import Question
from training.audit.sheet import write_sheet
from training.audit.shortage import find_shortages
from training.manifest import LabelledPhoto

SETTINGS = load_settings()


def picture(seed: int, side: int = 320) -> Image.Image:
    """A picture with patches at several scales, as unlike others as photos are."""
    random = np.random.default_rng(seed)
    whole = np.zeros((side, side, 3))
    for cells in (4, 9, 40, 160):
        noise = Image.fromarray(random.integers(0, 256, (cells, cells, 3)).astype(np.uint8))
        whole += np.asarray(noise.resize((side, side), Image.Resampling.BICUBIC), dtype=float)
    return Image.fromarray((whole / 4).astype(np.uint8))


def saved(
    folder: Path, name: str, image: Image.Image, label: str = "poa_annua", group: str = "", **how: int
) -> LabelledPhoto:
    image.save(folder / name, **how)  # type: ignore[arg-type]
    return LabelledPhoto(folder / name, name, label, group or name, bool(group), "mine", "", "")


def features(photos: list[LabelledPhoto]) -> np.ndarray:
    """Features by what is seen, made up: alike for copies, unlike otherwise."""
    rows = []
    for photo in photos:
        grey = np.asarray(Image.open(photo.file).convert("L").resize((16, 16), Image.Resampling.BOX), dtype=float)
        rows.append(((grey - grey.mean()) / (grey.std() + 1e-9)).ravel() + 3.0)
    return np.stack(rows)


def test_what_spoils_a_photo_is_named(tmp_path: Path) -> None:
    good = picture(1, 800)
    photos = [
        saved(tmp_path, "good.jpg", good),
        saved(tmp_path, "tiny.jpg", good.resize((90, 90))),
        saved(tmp_path, "blurred.jpg", good.filter(ImageFilter.GaussianBlur(14))),
        saved(tmp_path, "dark.jpg", ImageEnhance.Brightness(ImageEnhance.Contrast(good).enhance(3.0)).enhance(0.2)),
        saved(tmp_path, "plain.jpg", Image.new("RGB", (400, 400), "green")),
    ]
    (tmp_path / "broken.jpg").write_bytes((tmp_path / "good.jpg").read_bytes()[:900])
    photos.append(replace(photos[0], file=tmp_path / "broken.jpg", name="broken.jpg"))
    x = np.vstack([features(photos[:5]), np.full((1, 256), np.nan)])
    kinds: dict[str, set[str]] = {}
    for fault in check_photos(photos, x, SETTINGS).faults:
        kinds.setdefault(fault.photo, set()).add(fault.kind)
    assert "good.jpg" not in kinds
    assert kinds["tiny.jpg"] >= {"tiny"} and "blurred" in kinds["blurred.jpg"] and "dark" in kinds["dark.jpg"]
    assert kinds["plain.jpg"] == {"empty"} and kinds["broken.jpg"] == {"unreadable"}


def test_copies_are_found_and_their_groups_are_one(tmp_path: Path) -> None:
    photos = [saved(tmp_path, f"{i}.png", picture(i), group=f"plant {i}") for i in range(8)]
    first = picture(0)
    copies = [
        saved(tmp_path, "same.png", first, group="elsewhere"),
        saved(tmp_path, "smaller.jpg", first.resize((230, 230)), group="a", quality=70),
        saved(
            tmp_path, "lighter.jpg", ImageEnhance.Brightness(first).enhance(1.15), "bellis_perennis", "b", quality=90
        ),
    ]
    both = photos + copies
    found = find_duplicates(both, look_at(both, SETTINGS.quality.blur_side), features(both), SETTINGS.duplicates)
    (cluster,) = found.clusters
    assert cluster.photos == ("0.png", "same.png", "smaller.jpg", "lighter.jpg")
    assert cluster.is_conflict, "the same picture stands under two names"
    groups = merged_groups(both, found.clusters)
    assert groups[8:] == ["plant 0"] * 3 and groups[1:8] == [f"plant {i}" for i in range(1, 8)]


def flipped(seed: int) -> tuple[list[LabelledPhoto], np.ndarray, set[str]]:
    """Three hundred made-up photos of six species, a tenth of them under a wrong name."""
    random = np.random.default_rng(seed)
    names = [f"species_{i}" for i in range(6)]
    centres = random.normal(0, 1.0, (6, 40))
    truth = np.arange(300) % 6
    x = centres[truth] + random.normal(0, 0.7, (300, 40))
    wrong = set(random.choice(300, 30, replace=False))
    photos = []
    for i in range(300):
        label = (truth[i] + random.integers(1, 6)) % 6 if i in wrong else truth[i]
        photos.append(LabelledPhoto(Path(), f"{i}", names[label], f"g{i // 2}", True, "", "", ""))
    return photos, x, {str(i) for i in wrong}


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_wrong_names_are_found_and_come_first(seed: int) -> None:
    photos, x, wrong = flipped(seed)
    judged = out_of_sample(x, [p.label for p in photos], [p.group for p in photos], SETTINGS.labels)
    found = find_suspects(photos, judged, SETTINGS.labels.odds)
    names = [s.photo for s in found.suspects]
    right = len(wrong & set(names))
    assert right / len(wrong) >= 0.8 and right / len(names) >= 0.5
    assert len(wrong & set(names[:20])) >= 16
    scores = [s.score for s in found.suspects]
    assert scores == sorted(scores), "the lower the score, the more doubtful, and those come first"
    assert all(s.likelier != s.given for s in found.suspects)


def test_what_is_missing_is_said() -> None:
    found = find_shortages(["a"] * 3 + ["b"] * 9, ["g1"] * 12, SETTINGS.enough, ["c"])
    assert [s.species for s in found] == ["a", "b", "c"]
    assert found[1].missing == "1 more photo, from another plant or visit"


def question(photo: str, given: str = "poa_annua", likelier: str = "bellis_perennis") -> Question:
    return Question(photo, given, likelier, 0.012, "label", "80 times as likely to be bellis_perennis")


def test_decisions_are_written_kept_and_read_back(tmp_path: Path) -> None:
    path = tmp_path / "decide.csv"
    write_decisions(path, [question("a.jpg"), question("=b.jpg"), question("c.jpg")])
    text = path.read_text(encoding="utf-8")
    assert "'=b.jpg" in text, "a cell is never a formula"
    labels = {"a.jpg": "poa_annua", "=b.jpg": "poa_annua", "c.jpg": "poa_annua"}
    assert read_decisions(path, ["poa_annua", "bellis_perennis"], labels) == []
    lines = text.splitlines()
    lines[1] += "relabel:bellis_perennis"
    lines[2] += "drop"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    made = read_decisions(path, ["poa_annua", "bellis_perennis"], labels)
    assert [(d.photo, d.action, d.species) for d in made] == [
        ("a.jpg", "relabel", "bellis_perennis"),
        ("=b.jpg", "drop", ""),
    ]
    assert write_decisions(path, [question("a.jpg")]) == 1, "what was decided stays"


@pytest.mark.parametrize(
    ("said", "told"),
    [("relabel:bellis", "row 2: 'bellis' is no species"), ("perhaps", "row 2: 'perhaps' is no decision")],
)
def test_a_decision_that_cannot_be_understood_is_named(said: str, told: str, tmp_path: Path) -> None:
    path = tmp_path / "decide.csv"
    write_decisions(path, [question("a.jpg")])
    lines = path.read_text(encoding="utf-8").splitlines()
    path.write_text(f"{lines[0]}\n{lines[1]}{said}\n", encoding="utf-8")
    with pytest.raises(CollectionError, match=told):
        read_decisions(path, ["poa_annua", "bellis_perennis"], {"a.jpg": "poa_annua"})
    with pytest.raises(CollectionError, match="is bellis_perennis now"):
        read_decisions(path, ["poa_annua"], {"a.jpg": "bellis_perennis"})


def test_the_sheet_shows_photos_and_escapes_what_people_wrote(tmp_path: Path) -> None:
    photo = saved(tmp_path, "a.jpg", picture(3))
    evil = "<script>alert(1)</script>.jpg"
    out = tmp_path / "sheet.html"
    write_sheet(out, [question("a.jpg"), question(evil)], {"a.jpg": photo.file})
    page = out.read_text(encoding="utf-8")
    assert "<script>" not in page and "&lt;script&gt;" in page
    assert page.count("data:image/jpeg;base64,") == 1 and "cannot be read" in page
    assert "http" not in page.replace("http-equiv", "")
    with pytest.raises(CollectionError, match="cannot be written"):
        write_sheet(tmp_path / "none" / "sheet.html", [], {})


def test_nothing_to_check_is_said() -> None:
    with pytest.raises(CollectionError, match="no labelled photo"):
        check_photos([], np.zeros((0, 4)), SETTINGS)
