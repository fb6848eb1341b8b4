"""`collect open` and `collect credits`, against an archive on this machine that answers as the real one does."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from app.services.home import registry
from tests.app.conftest import Run
from tests.training.open_archive import BY_NC, Archive, open_archive, picture

DANDELION, CAPEWEED, BINDII = "Taraxacum officinale", "Arctotheca calendula", "Soliva sessilis"


@pytest.fixture
def archive(monkeypatch: pytest.MonkeyPatch) -> Iterator[Archive]:
    monkeypatch.setattr("training.collection.fetch.PAUSE", 0.0)
    monkeypatch.setattr("training.collection.fetch.WAITS", (0.0, 0.0))
    with open_archive(monkeypatch) as found:
        for name in (DANDELION, CAPEWEED, BINDII):
            found.add_taxon(name, name[:2])
        yield found


def test_a_dry_run_says_what_would_come_and_fetches_nothing(run: Run, archive: Archive) -> None:
    for number in range(4):
        archive.add("Ta", picture(number), f"Lee {number % 2}")
        archive.add("Ar", picture(number), "Kim", licence=BY_NC)
    text = run("collect", "open", "dandelion", "capeweed", "--dry-run").out
    assert f"{DANDELION}: 4 photos by 2 observers" in text and f"{CAPEWEED}: none (no photo under these" in text
    assert "4 CC BY 4.0" in text and "To be credited: Lee 0 (2), Lee 1 (2)" in text
    assert not any(path.startswith("/photos") for path in archive.asked)


def test_photos_come_in_with_credits_and_a_second_run_adds_nothing(run: Run, archive: Archive, tmp_path: Path) -> None:
    for number in range(4):
        archive.add("Ta", picture(number), "=Lee")
    command = ("collect", "open", "dandelion", "--allow-host", archive.host, "--json")
    assert run(*command).json["species"] == {"taraxacum_officinale": 4}
    assert (again := run(*command).json)["added"] == 0 and again["known_already"] == 4
    credits = run("collect", "credits", "--json").json["credits"]
    assert {(one["creator"], one["licence"]) for one in credits} == {("=Lee", "CC BY 4.0")} and len(credits) == 4
    assert run("collect", "credits", "--out", tmp_path / "credits.csv").status == 0
    assert "'=Lee" in (tmp_path / "credits.csv").read_text(encoding="utf-8-sig"), "no cell is a formula"
    assert run("collect", "credits", "--out", tmp_path / "credits.md").status == 0
    assert "# Photo credits" in (tmp_path / "credits.md").read_text()


@pytest.mark.parametrize(
    ("words", "says"),
    [(("dandelion", "--all"), "which species?"), ((), "which species?"), (("nosuch",), "not in the flora"),
     (("dandelion", "--licence", "by-nc"), "is not among the open licences"), (("--kind", "x"), "no such kind of weed"),
     (("dandelion", "--country", "Australia"), "two letters")],
)  # fmt: skip
def test_what_cannot_be_asked_is_one_sentence(run: Run, archive: Archive, words: tuple[str, ...], says: str) -> None:
    assert says in run("collect", "open", *words).refusal


def test_where_nothing_is_found_the_plan_says_why(run: Run, archive: Archive) -> None:
    done = run("collect", "open", "capeweed")
    assert done.status == 2 and "no photo under these licences" in done.out and "no open photo was found" in done.err


def test_nobody_to_credit_is_a_sentence(run: Run) -> None:
    assert "nobody has to be credited" in run("collect", "credits").refusal


def test_from_the_archive_to_a_model_that_names_the_plants(run: Run, archive: Archive, photos: Path) -> None:
    """Open photos of two flowers under invented observations, of species that the shipped model has never seen."""
    shown = {"Ar": "sunflower", "So": "daisy"}
    kept: dict[str, list[Path]] = {}
    for key, kind in shown.items():
        files = sorted(photos.glob(f"_other/*{kind}*/*.jpg"))
        kept[key] = files[20:24]
        for number, file in enumerate(files[:20]):
            archive.add(key, file.read_bytes(), f"{kind} person {number}")
    added = run("collect", "open", "capeweed", "bindii", "--allow-host", archive.host, "--json").json
    assert added["species"] == {"arctotheca_calendula": 20, "soliva_sessilis": 20}
    trained = run("train", "--by", "Kim", "--because", "new species", "--json").json
    assert trained["changed"], trained["says"]
    card = (registry().in_charge().folder / "card.md").read_text(encoding="utf-8")
    assert (
        "## Photo credits" in card
        and "sunflower person 0 (1)" in card
        and "| photos.example | CC BY 4.0 | 40 | known |" in card
    )
    names = {"Ar": "arctotheca_calendula", "So": "soliva_sessilis"}
    first = [
        (names[key], max(found["candidates"], key=lambda c: c["photo_probability"] or 0)["species"])
        for key, files in kept.items()
        for found in (run("identify", file, "--region", "none", "--json").json for file in files)
    ]
    assert sum(is_named == truth for truth, is_named in first) >= 6, first  # to the starter these flowers are `other`


def test_no_library_reports_what_it_asks() -> None:
    """In a program of its own: whoever tests has turned reports on already."""
    code = "import logging, training.collection.gbif; print(logging.getLogger('httpx').isEnabledFor(logging.INFO))"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout == "False\n"
