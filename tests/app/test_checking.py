"""`collect check` on a small collection: report, sheet, decisions, and doing what was decided."""

from __future__ import annotations

import csv
import re
import shutil
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

import training.audit
import training.data.features
from app.services.collection import plan_addition
from tests.app.conftest import Run
from tests.training.test_audit import picture
from training.audit import load_settings
from training.collection import Collection
from training.data.manifest import LabelledPhoto


def features(photos: Sequence[LabelledPhoto], *_: object) -> tuple[np.ndarray, list[str]]:
    """Made up, since the backbone takes long: what is seen, and how bright it is, which tells the species."""
    rows = []
    for photo in photos:
        small = np.asarray(Image.open(photo.file).convert("L").resize((16, 16), Image.Resampling.BOX), dtype=float)
        seen = (small - small.mean()) / (small.std() + 1e-9)
        rows.append(np.concatenate([seen.ravel(), np.zeros(1023), [(small.mean() - 128) / 2]]))
    return np.stack(rows), [""] * len(rows)


def toned(seed: int, bright: bool) -> Image.Image:
    return picture(seed).point(lambda value: value // 2 + (110 if bright else 20))


@pytest.fixture(scope="module")
def prepared(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Dark photos of winter grass; bright ones of daisy, one of which is called winter grass; one picture twice."""
    top = tmp_path_factory.mktemp("prepared")
    for place, label in enumerate(("poa_annua", "bellis_perennis")):
        (top / "source" / label).mkdir(parents=True)
        for i in range(8):
            toned(10 * place + i, bool(place)).save(top / "source" / label / f"{i}.png")
    toned(77, True).save(top / "source" / "poa_annua" / "daisy.png")
    toned(0, False).save(top / "source" / "bellis_perennis" / "again.jpg", quality=70)
    collection, plan = plan_addition(top / "source", folder=top / "collection")
    assert collection.add(plan).added == 18
    return top


@pytest.fixture
def collection(prepared: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Collection:
    """A collection of these, and the photos beside it, checked by fewer heads than in use."""
    settings = load_settings()
    labels = settings.labels.model_copy(update={"folds": 4, "shrinkage": [0.2]})
    monkeypatch.setattr(training.audit, "load_settings", lambda: settings.model_copy(update={"labels": labels}))
    monkeypatch.setattr(training.data.features, "features_of", features)
    shutil.copytree(prepared / "source", tmp_path / "source")
    shutil.copytree(prepared / "collection", tmp_path / "home" / "collection")
    return Collection(tmp_path / "home" / "collection").open()


def decide(path: Path, said: dict[str, str]) -> None:
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows({**row, "decision": said.get(row["photo"], "")} for row in rows)


def test_check_reports_and_changes_nothing(run: Run, collection: Collection) -> None:
    before = (collection.folder / "manifest.csv").read_bytes()
    found = run("collect", "check", "--wanted", "soliva_sessilis", "--json").json
    assert found["photos"] == 18 and found["species"] == 2
    (cluster,) = found["clusters"]
    assert cluster["is_conflict"] and cluster["labels"] == ["bellis_perennis", "poa_annua"]
    assert found["suspects"][0]["given"] != found["suspects"][0]["likelier"]
    assert {s["species"] for s in found["shortages"]} == {"soliva_sessilis"}
    done = run("collect", "check")
    assert done.status == 0 and "What to do, in this order:" in done.out
    assert "winter grass" in done.out and "poa_annua" not in done.out, "a plant is called by its common name alone"
    assert (collection.folder / "manifest.csv").read_bytes() == before


def test_what_was_decided_is_done_and_no_more(run: Run, collection: Collection, tmp_path: Path) -> None:
    sheet, decisions = tmp_path / "sheet.html", tmp_path / "decide.csv"
    apply = ("collect", "check", "--decisions", decisions, "--apply")
    done = run("collect", "check", "--sheet", sheet, "--decisions", decisions)
    assert done.status == 0 and str(sheet) in done.out and "photos to decide on, 0 decided before" in done.out
    assert sheet.read_text(encoding="utf-8").startswith("<!doctype html>")
    with decisions.open(encoding="utf-8", newline="") as file:
        rows = {row["photo"]: row for row in csv.DictReader(file)}
    assert all(row["decision"] == "" for row in rows.values())
    page = sheet.read_text(encoding="utf-8")
    seen = re.sub(
        r'(?s)<script.*?</script>|<style.*?</style>|data-l\w+="[^"]*"|value="relabel:\w+"|src="[^"]*"', "", page
    )
    assert "winter grass (Poa annua)" in seen and "as likely to be English daisy (Bellis perennis)" in seen
    assert re.findall(r"poa_annua|bellis_perennis|\b[a-z]+_[a-z]+\b", seen) == [], "ids are for the file"
    wrong = next(name for name, row in rows.items() if row["given"] == "poa_annua" and float(row["score"]) < 0.2)
    copy = next(name for name, row in rows.items() if row["given"] == "bellis_perennis")
    labels = {photo.name: photo.label for photo in collection.photos()}
    assert run(*apply).out.startswith("0 relabelled, 0 dropped")
    decide(decisions, {wrong: "drop", copy: "relabel:bellis_perenis"})
    before = (collection.folder / "manifest.csv").read_bytes()
    refusal = run(*apply).refusal
    assert " row " in refusal and "did you mean bellis_perennis?" in refusal
    assert (collection.folder / "manifest.csv").read_bytes() == before, "a bad decision changes nothing"
    decide(decisions, {wrong: "relabel:bellis_perennis", copy: "drop"})
    assert run(*apply, "--by", "tester", "--json").json == {"keep": 0, "relabel": 1, "drop": 1}
    again = Collection(collection.folder).open()
    expected = {**labels, wrong: "bellis_perennis"}
    del expected[copy]
    assert {photo.name: photo.label for photo in again.photos()} == expected
    assert again.history(wrong)[-1].labelled_by == "tester"
    assert again.file_of(copy).exists(), "a photo that is dropped is learned from no more, but is not lost"
    assert run(*apply).out.startswith("0 relabelled, 0 dropped, 2 kept"), "twice is once"


def test_photos_are_called_as_the_users_own_files_are(run: Run, collection: Collection, tmp_path: Path) -> None:
    out = run("collect", "check").out
    wrong = next(name for name, own in collection.own_names().items() if own == "daisy.png")
    assert f"daisy.png ({wrong[3:15]})" in " ".join(out.split()) and wrong not in out
    sheet, decisions = tmp_path / "sheet.html", tmp_path / "decide.csv"
    found = run("collect", "check", "--sheet", sheet, "--decisions", decisions, "--json").json
    assert found["own_names"][wrong] == "daisy.png"
    assert f">daisy.png ({wrong[3:15]})</div>" in sheet.read_text(encoding="utf-8")
    with decisions.open(encoding="utf-8", newline="") as file:
        assert {row["photo"]: row["file"] for row in csv.DictReader(file)}[wrong] == "daisy.png"


def test_all_suggestions_above_a_score_are_accepted_and_no_others(run: Run, collection: Collection) -> None:
    labels = {photo.name: photo.label for photo in collection.photos()}
    suspects = run("collect", "check", "--json").json["suspects"]
    assert suspects and all(0 < one["chance"] <= 1 for one in suspects)
    least = max(0.5, max(one["chance"] for one in suspects))
    sure = [one for one in suspects if one["chance"] >= least]
    found = run("collect", "check", "--accept", least, "--by", "tester", "--json").json
    assert found["relabelled"] == sure and found["left"] == len(suspects) - len(sure)
    again = Collection(collection.folder).open()
    expected = labels | {one["photo"]: one["likelier"] for one in sure}
    assert {photo.name: photo.label for photo in again.photos()} == expected
    assert again.history(sure[0]["photo"])[-1].labelled_by == "tester"
    text = run("collect", "check", "--accept", 1.0).out
    assert " relabelled, " in text and "left to decide on" in text


def test_a_folder_of_photos_and_photos_without_a_label(run: Run, collection: Collection, tmp_path: Path) -> None:
    loose = tmp_path / "loose"
    loose.mkdir()
    for i in range(4):
        toned(200 + i, i % 2 == 0).save(loose / f"{i}.png")
    check = ("collect", "check", "--photos", tmp_path / "source")
    found = run(*check, "--unlabelled", loose, "--sheet", tmp_path / "sheet.png", "--json").json
    assert found["photos"] == 18 and found["to_label"]
    assert {t["photo"] for t in found["to_label"]} <= {f"{i}.png" for i in range(4)}
    assert (tmp_path / "sheet-1.png").exists() and "sheet-1.png to sheet-1.png" in found["written"][0]


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ("--apply", "--apply needs a file of decisions"),
        ("--apply --decisions none.csv", "no such file"),
        ("--apply --decisions d.csv --photos .", "changes the collection only"),
        ("--accept 0.9 --photos .", "leave out --photos and --apply"),
        ("--accept 0.4", "--accept"),
        ("--sheet sheet.pdf", "must end in .html or .htm or .png"),
        ("--sheet none/sheet.html", "there is no folder"),
        ("--wanted poa_anua", "did you mean poa_annua?"),
        ("--photos none", "no such folder"),
        ("--photos source --unlabelled none", "no such folder"),
        ("", "holds no photos"),
    ],
)
def test_bad_options_are_sentences(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, options: str, says: str
) -> None:
    (tmp_path / "source" / "poa_annua").mkdir(parents=True)
    toned(1, True).save(tmp_path / "source" / "poa_annua" / "a.png")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(training.data.features, "features_of", features)
    assert says in run("collect", "check", *options.split()).refusal
