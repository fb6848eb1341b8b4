"""swardkey models share and join: what a person types, sees and is refused."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from app.services import sharing
from app.services.home import home
from tests.app.conftest import Run
from tests.training.made_up_photos import made_up_photos
from training.recipes.prepare import Prepared
from training.registry.models import Registry

OTHERS = ("bellis_perennis", "poa_annua", "soliva_sessilis")


def photos_of(names: tuple[str, ...], each: int, seed: int) -> Prepared:
    return Prepared(made_up_photos(names, each, seed), {})


@pytest.fixture
def given(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A file of two species, by Kim; whoever joins it has no photos."""
    monkeypatch.setattr(sharing, "_prepared", lambda *_: photos_of((*OTHERS[:2], "other:turf"), 9, 1))
    done = run("models", "share", tmp_path / "kim.safetensors", "--by", "Kim", "--licence", "cc-by 4.0", "--json").json
    assert done["species"] == {name: {"photos": 9, "groups": 9} for name in OTHERS[:2]}
    assert (done["giver"], done["licence"]) == ("Kim", "CC BY 4.0")
    monkeypatch.setattr(sharing, "_prepared", lambda *_: None)
    return tmp_path / "kim.safetensors"


def test_what_would_come_in_is_shown_joined_and_taken_out(run: Run, given: Path) -> None:
    shown = run("models", "join", given, "--dry-run").out
    assert "bellis_perennis" in shown and "new" in shown and "nothing was changed" in shown
    assert not (home() / "models").exists()
    asked = run("models", "join", given).out
    assert "too few of your own to measure anything" in asked and "--by NAME --because REASON" in asked
    done = run("models", "join", given, "--by", "Me", "--because", "I know Kim", "--json").json
    assert done["changed"] and done["joining"][0]["giver"] == "Kim"
    folder = home() / "models" / done["in_charge"]
    entry = json.loads((folder / "recipe.json").read_text())["shared"][0]
    assert (entry["giver"], entry["licence"], entry["left_out"]) == ("Kim", "CC BY 4.0", {})
    assert run("models", "list", "--json").json["models"][1]["species"] == 13
    assert "replaces what kim gave before" in run("models", "join", given, "--dry-run").out
    assert "did you mean Kim?" in run("models", "join", "--without", "Kin").refusal
    assert run("models", "join", "--without", "Kim", "--json").json["in_charge"] == "starter"


def test_chosen_species_alone_are_shared(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sharing, "_prepared", lambda *_: photos_of(OTHERS, 6, 1))
    out = run("models", "share", tmp_path / "a", "--by", "Kim", "--species", "bindii").out
    assert "soliva_sessilis" in out and "poa_annua" not in out and "no photo, place or client" in " ".join(out.split())


def test_what_cannot_be_shared_or_joined_is_one_sentence(
    run: Run, given: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    share = ("models", "share", tmp_path / "new")
    assert "holds too few photos to share" in run(*share, "--by", "Kim").refusal
    assert "is there already" in run("models", "share", given, "--by", "Kim").refusal
    assert "say with --by NAME" in run(*share).refusal
    assert "is not an open licence" in run(*share, "--by", "Kim", "--licence", "CC BY-NC").refusal
    assert "is not one species of the flora" in run(*share, "--by", "Kim", "--species", "triffid").refusal
    monkeypatch.setattr(sharing, "_prepared", lambda *_: photos_of(OTHERS[:1], 4, 1))
    assert "4 photos of 4 plants or visits are too few" in run(*share, "--by", "K", "--species", OTHERS[0]).refusal
    monkeypatch.setattr(sharing, "_prepared", lambda *_: photos_of(OTHERS[:1], 6, 1))
    assert "plain text" in run(*share, "--by", "a\nb").refusal
    assert not (tmp_path / "new").exists()
    (tmp_path / "words").write_text("words and words")
    assert "is not a file of shared statistics" in run("models", "join", tmp_path / "words").refusal
    assert "name files to join" in run("models", "join").refusal
    assert "name files to join" in run("models", "join", given, "--without", "Kim").refusal
    assert "needs both --by and --because" in run("models", "join", given, "--by", "Kim").refusal
    shutil.copy(given, tmp_path / "again")
    assert "gives twice" in run("models", "join", given, tmp_path / "again").refusal
    assert "nothing is joined" in run("models", "join", "--without", "Kim").refusal
    assert Registry(home() / "models").in_charge().name == "starter"
