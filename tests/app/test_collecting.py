"""`swardkey collect`: one JSON object, one sentence for bad input, and a kill in the middle of it."""

from __future__ import annotations

import csv
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import typer
from PIL import Image

from app import command_line
from app.commands.collect import collect, is_whole
from app.services.home import home

ROOT = Path(__file__).resolve().parents[2]
# The commands as they hang under swardkey; added here too, so that these tests need no other command.
CODE = (
    "from app import command_line\nfrom app.commands.collect import collect\n"
    "command_line.cli.add_typer(collect, name='collect')\ncommand_line.main()"
)


def command(*arguments: object) -> list[str]:
    return [sys.executable, "-c", CODE, "collect", *map(str, arguments)]


def environment() -> dict[str, str]:
    return {**os.environ, "COLUMNS": "120", "PYTHONPATH": str(ROOT), "PYTHONIOENCODING": "utf-8"}


@dataclass(frozen=True)
class Done:
    returncode: int
    stdout: str
    stderr: str


Run = Callable[..., Done]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Run:
    """The command as main() runs it, in this process: starting Python anew costs seconds each time."""
    cli = typer.Typer()
    cli.add_typer(collect, name="collect")
    monkeypatch.setattr(command_line, "cli", cli)
    monkeypatch.setenv("COLUMNS", "120")

    def do(*arguments: object) -> Done:
        capsys.readouterr()
        with pytest.raises(SystemExit) as ended:
            command_line.main(["collect", *map(str, arguments)])
        said = capsys.readouterr()
        return Done(int(str(ended.value.code)), said.out, said.err)

    return do


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
    done = run("add", folders, "--json", "--by", "Kim")
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert {"added", "known_already", "refused", "unknown_names", "ambiguous", "species"} <= set(found)
    assert found["added"] == 4 and found["species"] == {"arctotheca_calendula": 1, "taraxacum_officinale": 3}
    assert [one["file"] for one in found["refused"]] == ["capeweed/words.jpg"] and found["refused"][0]["why"]
    listed = json.loads(run("list", "--json").stdout)
    assert listed["photos"] == 4 and listed["collection"] == str(home() / "collection")
    dandelion = listed["species"]["taraxacum_officinale"]
    assert (dandelion["photos"], dandelion["groups"], dandelion["readable"], dandelion["own"]) == (3, 1, 3, False)
    with (home() / "collection" / "manifest.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    photo = next(row["photo"] for row in rows if row["species"] == "arctotheca_calendula")
    done = run("relabel", photo[3:15], "catsear", "--json")
    assert json.loads(done.stdout) == {"photo": photo, "species": "hypochaeris_radicata"}, done.stderr
    assert json.loads(run("remove", photo, "--json").stdout) == {"photo": photo, "removed": True}
    text = run("list").stdout
    assert "3 photos of 1 species" in text and "1 photo taken back" in text
    assert (home() / "collection" / "photos" / photo).exists()
    each = json.loads(run("list", "--photos", "--json").stdout)["names"]
    assert [(one["species"], one["group"]) for one in each] == [("taraxacum_officinale", "bed")] * 3
    assert all(one["photo"][3:15] in run("list", "--photos").stdout for one in each)


def test_bad_names_are_listed_with_exit_status_2_and_nothing_is_written(run: Run, folders: Path) -> None:
    save(folders / "milk thistle" / "x.jpg", 20)
    save(folders / "wandering jew" / "x.jpg", 21)
    done = run("add", folders, "--json")
    assert done.returncode == 2 and done.stderr.count("\n") == 1 and "Traceback" not in done.stderr
    found = json.loads(done.stdout)
    assert found["added"] == 0 and found["unknown_names"] == ["wandering jew"]
    assert found["ambiguous"] == {"milk thistle": ["silybum_marianum", "sonchus_oleraceus"]}
    assert not (home() / "collection").exists()
    done = run("add", folders)
    assert done.returncode == 2 and "several plants are called milk thistle" in done.stdout
    (folders / "milk thistle").rename(folders / "sonchus oleraceus")
    done = run("add", folders, "--accept-new", "--json", "--collection", folders.parent / "mine")
    assert json.loads(done.stdout)["species"]["wandering_jew"] == 1, done.stderr
    listed = json.loads(run("list", "--json", "--collection", folders.parent / "mine").stdout)
    assert listed["species"]["wandering_jew"]["own"] and listed["species"]["wandering_jew"]["common_name"]
    assert not (home() / "collection").exists()


def test_a_person_sees_the_plan_and_a_table_of_what_was_refused(run: Run, folders: Path) -> None:
    (folders / "capeweed" / "[bold]words.jpg").write_text("words")
    done = run("add", folders, "--yes")
    assert done.returncode == 0, done.stderr
    assert "taraxacum_officinale: 3 photos in 1 group" in done.stdout
    assert "4 photos added, 0 in the collection already" in done.stdout
    assert "capeweed/[bold]words.jpg" in done.stdout and "is not a photo that can be read" in done.stdout


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
    done = run("add", source, *options, "--json")
    assert done.returncode == 2, done.stdout + done.stderr
    assert done.stderr.count("\n") == 1 and says in done.stderr
    assert not (home() / "collection" / "manifest.csv").exists()


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["relabel", "abcdef", "dandelion"], "no photo in the collection begins like that"),
        (["relabel", "abcdef", "dandelio"], "not in the key"),
        (["relabel", "abcdef", "onion weed"], "may be allium_triquetrum"),
        (["remove", "../../x"], "not the name of a photo"),
    ],
)
def test_a_wrong_photo_or_species_is_one_sentence(run: Run, arguments: list[str], says: str) -> None:
    done = run(*arguments)
    assert done.returncode == 2 and done.stderr.count("\n") == 1 and says in done.stderr


def test_a_killed_command_leaves_a_whole_collection_and_the_next_completes_it(run: Run, folders: Path) -> None:
    for seed in range(30, 50):
        save(folders / "capeweed" / f"{seed}.jpg", seed, (2400, 2000))
    manifest = home() / "collection" / "manifest.csv"
    process = subprocess.Popen(
        command("add", folders, "--json"), cwd=ROOT, env=environment(), stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    deadline = time.monotonic() + 120
    while process.poll() is None and time.monotonic() < deadline:
        if manifest.exists() and manifest.read_bytes().count(b"\n") > 4:
            process.send_signal(signal.SIGKILL if hasattr(signal, "SIGKILL") else signal.SIGTERM)
            break
        time.sleep(0.005)
    process.communicate()
    assert process.returncode not in (0, 2), "it was done before it could be killed"
    listed = json.loads(run("list", "--json").stdout)
    assert 4 <= listed["photos"] < 24
    assert all(row["photos"] == row["readable"] for row in listed["species"].values())
    done = run("add", folders, "--json")
    found = json.loads(done.stdout)
    assert found["known_already"] == listed["photos"] and found["added"] == 24 - listed["photos"]
    assert json.loads(run("list", "--json").stdout)["photos"] == 24


def test_a_stored_photo_that_was_cut_short_is_not_readable(tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    assert not is_whole(path)
    save(path, 1)
    assert is_whole(path)
    path.write_bytes(path.read_bytes()[:-10])
    assert not is_whole(path)
    path.write_bytes(b"")
    assert not is_whole(path)
