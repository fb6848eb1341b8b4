"""`swardkey collect`: one JSON object, one sentence for bad input, and a kill in the middle of it."""

from __future__ import annotations

import csv
import json
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from app.services.collection import is_whole
from app.services.home import home
from tests.app.conftest import Run

ROOT = Path(__file__).resolve().parents[2]


def save(path: Path, seed: int, size: tuple[int, int] = (240, 200)) -> None:
    coarse = np.random.default_rng(seed).integers(0, 256, (24, 30, 3), dtype=np.uint8)
    path.parent.mkdir(parents=True, exist_ok=True)
    Image.fromarray(coarse).resize(size, Image.Resampling.BICUBIC).save(path)


@pytest.fixture
def folders(tmp_path: Path) -> Path:
    top = tmp_path / "weeds"
    for seed in range(3):
        save(top / "Dandelion" / "bed" / f"{seed}.jpg", seed)
    save(top / "capeweed" / "a.jpg", 10)
    return top


def test_add_list_relabel_and_remove_from_one_end_to_the_other(run: Run, folders: Path) -> None:
    (folders / "capeweed" / "words.jpg").write_text("words")
    found = run("collect", "add", folders, "--json", "--by", "Kim").json
    assert set(found) == {
        "added", "known_already", "refused", "refused_more", "unknown_names", "ambiguous", "species", "hosts", "left",
        "notes", "unknown_photos", "near", "ambiguous_photos",
    }  # fmt: skip
    assert found["added"] == 4 and found["species"] == {"arctotheca_calendula": 1, "taraxacum_officinale": 3}
    assert [one["file"] for one in found["refused"]] == ["capeweed/words.jpg"] and found["refused"][0]["why"]
    listed = run("collect", "list", "--json").json
    assert listed["photos"] == 4 and listed["collection"] == str(home() / "collection")
    assert listed["species"]["taraxacum_officinale"] == {
        "photos": 3, "groups": 1, "readable": 3, "common_name": "dandelion", "own": False,
    }  # fmt: skip
    with (home() / "collection" / "manifest.csv").open(encoding="utf-8", newline="") as file:
        photo = next(row["photo"] for row in csv.DictReader(file) if row["species"] == "arctotheca_calendula")
    moved = run("collect", "relabel", photo[3:15], "catsear", "--json").json
    assert moved == {"photo": photo, "species": "hypochaeris_radicata"}
    assert run("collect", "remove", photo, "--json").json == {"photo": photo, "removed": True}
    assert (home() / "collection" / "photos" / photo).exists()
    each = run("collect", "list", "--photos", "--json").json["names"]
    assert [(one["species"], one["group"]) for one in each] == [("taraxacum_officinale", "bed")] * 3
    text = run("collect", "list", "--photos").out
    assert "3 photos of 1 species" in text and "1 photo removed" in text
    assert all(one["photo"][3:15] in text for one in each)


def test_bad_names_are_listed_with_exit_status_2_and_nothing_is_written(run: Run, folders: Path) -> None:
    save(folders / "milk thistle" / "x.jpg", 20)
    save(folders / "yellow rattle" / "x.jpg", 21)
    done = run("collect", "add", folders, "--json")
    assert done.status == 2 and done.err.count("\n") == 1 and "Traceback" not in done.err
    found = json.loads(done.out)
    assert found["added"] == 0 and found["unknown_names"] == ["yellow rattle"]
    assert found["ambiguous"] == {"milk thistle": ["silybum_marianum", "sonchus_oleraceus"]}
    done = run("collect", "add", folders)
    assert done.status == 2 and "several plants are called milk thistle" in done.out
    (folders / "milk thistle").rename(folders / "sonchus oleraceus")
    mine = ("--collection", folders.parent / "mine", "--json")
    assert run("collect", "add", folders, "--accept-new", *mine).json["species"]["yellow_rattle"] == 1
    listed = run("collect", "list", *mine).json["species"]["yellow_rattle"]
    assert listed["own"] and listed["common_name"]
    assert not (home() / "collection").exists()


MISSPELT = {
    "curly dock": "curled dock (rumex_crispus)",
    "broadleaf plantain": "greater plantain (plantago_major)",
    "Dandelions": "dandelion (taraxacum_officinale)",
    "scentles mayweed": "scentless mayweed (tripleurospermum_inodorum)",
}


def test_a_name_near_a_known_one_is_suggested_and_never_becomes_a_twin_unsaid(run: Run, tmp_path: Path) -> None:
    folders = tmp_path / "weeds"
    for number, name in enumerate((*MISSPELT, "yellow rattle")):
        for seed in range(2):
            save(folders / name / f"{seed}.jpg", 10 * number + seed)
    done = run("collect", "add", folders)
    assert done.status == 2
    for name, meant in MISSPELT.items():
        assert f"not in the key: {name} (2 photos); did you mean {meant}?" in done.out
    assert "not in the key: yellow rattle (2 photos)\n" in done.out
    done = run("collect", "add", folders, "--accept-new", "--json")
    found = json.loads(done.out)
    assert done.status == 2 and found["added"] == 0 and found["near"] == MISSPELT
    assert found["unknown_photos"] == dict.fromkeys(MISSPELT, 2), "yellow rattle is near none, and may be new"
    assert "--new NAME" in done.err and not (home() / "collection").exists()
    for name in list(MISSPELT)[1:]:
        (folders / name).rename(folders / MISSPELT[name].split("(")[1].rstrip(")"))
    found = run("collect", "add", folders, "--accept-new", "--new", "Curly-Dock", "--json").json
    assert found["added"] == 10 and found["species"]["curly_dock"] == 2 and found["species"]["plantago_major"] == 2
    assert run("collect", "list", "--json").json["species"]["curly_dock"]["own"]
    refusal = run("collect", "relabel", "abcdef", "curley dock").refusal
    assert "did you mean" in refusal


def test_all_names_that_are_refused_are_listed_however_many_files_are(run: Run, tmp_path: Path) -> None:
    folders = tmp_path / "weeds"
    for number in range(45):
        save(folders / f"unheard of {number}" / "x.jpg", number, (40, 40))
        (folders / "capeweed").mkdir(exist_ok=True)
        (folders / "capeweed" / f"{number}.jpg").write_text("words")
    out = run("collect", "add", folders, "--skip-unknown", "--yes").out
    assert all(f"not in the key: unheard of {number} (1 photo, skipped)" in out for number in range(45))
    assert "and 5 lines more (--json gives all)" in out


def test_a_person_sees_the_plan_and_a_table_of_what_was_refused(run: Run, folders: Path) -> None:
    (folders / "capeweed" / "[bold]words.jpg").write_text("words")
    out = run("collect", "add", folders, "--yes").out
    assert "taraxacum_officinale: 3 photos in 1 group" in out
    assert "4 photos added, 0 in the collection already" in out
    assert "capeweed/[bold]words.jpg" in out and "is not a photo that can be read" in out


@pytest.mark.parametrize(
    ("make", "options", "says"),
    [
        (None, [], "no such file or folder"),
        ("empty", [], "holds no photos"),
        ("words", [], "nothing was added: 1 refused, the first capeweed/a.jpg: is not a photo"),
        ("folders", ["--accept-new", "--skip-unknown"], "exclude each other"),
        ("folders", ["--licence", "a", "--licence", "b"], "name it once"),
        ("text.md", [], "is not a folder, CSV table, zip or photo"),
        ("folders", ["--as", "onion weed"], "may be allium_triquetrum or asphodelus_fistulosus"),
    ],
)
def test_bad_input_is_one_sentence(
    run: Run, folders: Path, tmp_path: Path, make: str | None, options: list[str], says: str
) -> None:
    source = tmp_path / "nothing"
    if make == "empty":
        source.mkdir()
    elif make == "words":
        (source / "capeweed").mkdir(parents=True)
        (source / "capeweed" / "a.jpg").write_text("words")
    elif make == "folders":
        source = folders
    elif make:
        source = tmp_path / make
        source.write_text("words")
    done = run("collect", "add", source, *options, "--json")
    assert done.status == 2 and done.err.count("\n") == 1 and says in done.err
    assert not (home() / "collection" / "manifest.csv").exists()


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("relabel", "abcdef", "dandelion"), "no photo in the collection begins like that"),
        (("relabel", "abcdef", "dandelio"), "not in the key"),
        (("relabel", "abcdef", "onion weed"), "may be allium_triquetrum"),
        (("remove", "../../x"), "not the name of a photo"),
    ],
)
def test_a_wrong_photo_or_species_is_one_sentence(run: Run, arguments: tuple[str, ...], says: str) -> None:
    assert says in run("collect", *arguments).refusal


def test_a_killed_command_leaves_a_whole_collection_and_the_next_completes_it(run: Run, folders: Path) -> None:
    for seed in range(30, 50):
        save(folders / "capeweed" / f"{seed}.jpg", seed, (1200, 1000))
    manifest = home() / "collection" / "manifest.csv"
    code = "from app.command_line import main; main()"
    command = [sys.executable, "-c", code, "collect", "add", str(folders), "--json"]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        deadline = time.monotonic() + 120
        while process.poll() is None and time.monotonic() < deadline:
            if manifest.exists() and manifest.read_bytes().count(b"\n") > 4:
                process.send_signal(signal.SIGKILL if hasattr(signal, "SIGKILL") else signal.SIGTERM)
                break
            time.sleep(0.002)
        process.communicate()
    assert process.returncode not in (0, 2), "it was done before it could be killed"
    listed = run("collect", "list", "--json").json
    assert 4 <= listed["photos"] < 24
    assert all(row["photos"] == row["readable"] for row in listed["species"].values())
    found = run("collect", "add", folders, "--json").json
    assert found["known_already"] == listed["photos"] and found["added"] == 24 - listed["photos"]
    assert run("collect", "list", "--json").json["photos"] == 24


def test_a_stored_photo_that_was_cut_short_is_not_readable(tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    assert not is_whole(path)
    save(path, 1)
    assert is_whole(path)
    path.write_bytes(path.read_bytes()[:-10])
    assert not is_whole(path)
    path.write_bytes(b"")
    assert not is_whole(path)
