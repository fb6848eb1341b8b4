"""swardkey models and swardkey measure: the model in charge, and how good it is."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from app.services.home import home
from model.photo.saved import STARTER as SHIPPED
from tests.app.conftest import Run
from training.registry.models import Registry

ROOT = Path(__file__).resolve().parents[2]
DRAWN = ROOT / "sample_images" / "taraxacum_officinale_flowering_3.jpg"


@pytest.fixture
def two(tmp_path: Path) -> tuple[str, str]:
    """Two models of the user's own, the second active."""
    registry = Registry(home() / "models")
    names = []
    for n in ("one", "two"):
        shutil.copytree(SHIPPED, tmp_path / n)
        (tmp_path / n / "card.md").write_text(f"# {n}\n")
        names.append(registry.install(tmp_path / n))
        registry.use(names[-1])
    return names[0], names[1]


def test_a_new_user_has_the_starter_and_nothing_is_written(run: Run) -> None:
    found = run("models", "list", "--json").json
    assert (found["in_charge"], found["note"]) == ("starter", None)
    assert [m["name"] for m in found["models"]] == ["starter"] and found["models"][0]["species"] == 11
    assert not home().exists()
    assert run("models", "--json").json == found
    assert "nothing to undo" in run("models", "undo").refusal


def test_use_undo_and_pin(run: Run, two: tuple[str, str]) -> None:
    one, second = two
    assert f"{one} is active now, instead of {second}" in run("models", "undo").out
    assert run("models", "use", "starter", "--json").json == {"in_charge": "starter", "before": one}
    assert "active already" in run("models", "use", "starter").out
    assert run("models", "undo", "--json").json["in_charge"] == one
    assert "is not installed" in run("models", "use", "20200101T000000Z-00000000").refusal
    assert run("models", "pin", one, "--json").json == {"model": one, "pinned": True}
    listed = run("models").out
    assert all(word in listed for word in ("active", "before", "sound", "pinned"))
    assert "no longer pinned" in run("models", "pin", one, "--off").out


def test_a_damaged_model_is_said_and_what_is_used_instead(run: Run, two: tuple[str, str]) -> None:
    one, second = two
    (home() / "models" / second / "model.json").write_text("{}")
    found = run("models", "list", "--json").json
    assert found["in_charge"] == one and "damaged (model.json is not as it was written)" in found["note"]
    assert [m["fault"] != "" for m in found["models"]] == [False, False, True]
    out = run("models", "list").out
    assert "chosen" in out and "is used instead" in " ".join(out.split())
    assert "damaged" in run("models", "use", second).refusal


def test_a_model_that_was_turned_down_needs_a_word_and_a_reason(run: Run, tmp_path: Path) -> None:
    shutil.copytree(SHIPPED, tmp_path / "new")
    (tmp_path / "new" / "card.md").write_text("# new\n")
    name = Registry(home() / "models").keep_aside(tmp_path / "new", instead_of="starter")
    assert "turned down" in run("models").out
    assert f"swardkey models use {name} --by NAME --because REASON" in run("models", "use", name).refusal
    assert "needs both --by and --because" in run("models", "use", name, "--by", "Kim").refusal
    done = run("models", "use", name, "--by", "Kim", "--because", "right on my lawns", "--json").json
    assert done == {"in_charge": name, "before": "starter"}
    entry = Registry(home() / "models").history()[-1]
    assert (entry["action"], entry["override"]) == ("override", {"by": "Kim", "reason": "right on my lawns"})


def test_undo_loads_nothing_slow(two: tuple[str, str]) -> None:
    code = "import sys\nfrom app.commands.manage_models import models\n"
    code += "try:\n    models(['undo'])\nexcept SystemExit:\n    pass\n"
    code += "print([m for m in ('torch', 'numpy', 'sklearn', 'gradio') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]", "nothing slow is loaded"
    assert Registry(home() / "models").in_charge().name == two[0]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """One drawn dandelion, a species that the starter does not know, a thing, and a file that is no photo."""
    photos = tmp_path / "labelled"
    for name in ("dandelion", "bindii", "_other/noise"):
        (photos / name).mkdir(parents=True)
    shutil.copy(DRAWN, photos / "dandelion" / "drawn.jpg")
    with Image.open(DRAWN) as image:
        image.crop((0, 0, 200, 200)).save(photos / "bindii" / "turf.png")
    noise = np.random.default_rng(1).integers(0, 255, (120, 120, 3)).astype(np.uint8)
    Image.fromarray(noise).save(photos / "_other" / "noise" / "n.png")
    (photos / "bindii" / "words.jpg").write_text("words")
    return photos


def test_measure_prints_one_object_writes_the_page_and_keeps_features(run: Run, folder: Path, tmp_path: Path) -> None:
    page = tmp_path / "page.html"
    done = run("measure", folder, "--page", page, "--json")
    found = done.json
    assert (found["photos"], found["species"]) == (3, 2)
    assert found["per_species"]["soliva_sessilis"]["known"] is False
    assert found["per_species"]["taraxacum_officinale"] == {
        "photos": 1, "top1": 1.0, "low": pytest.approx(0.2065, abs=1e-3), "high": 1.0, "known": True,
    }  # fmt: skip
    assert "left out" in done.err and "words.jpg" in done.err and "the page is" in done.err
    assert "bindii" in page.read_text(encoding="utf-8")
    assert (home() / "cache" / "features.safetensors").exists()
    # In words, from the features that were kept.
    out = run("measure", folder).out
    assert "starter on 3 photos" in out and "bindii (not known to the model)" in out


def test_measure_says_what_is_wrong_in_one_sentence(run: Run, tmp_path: Path) -> None:
    for place, plant in (("odd", "no such weed"), ("good", "dandelion"), ("bad", "dandelion")):
        (tmp_path / place / plant).mkdir(parents=True)
        shutil.copy(DRAWN, tmp_path / place / plant / "a.jpg")
    (tmp_path / "bad" / "dandelion" / "a.jpg").write_text("words")
    for arguments, says in (
        (("nothing",), "no such folder"),
        (("odd",), "not species of the flora: no such weed"),
        (("good", "--model", "unknown"), "is not installed"),
        (("good", "--page", tmp_path / "none" / "p.html"), "cannot be written"),
        (("good", "--page", tmp_path), "cannot be written"),
        (("bad",), "none of its 1 photos can be read"),
    ):
        assert says in run("measure", tmp_path / str(arguments[0]), *arguments[1:], "--json").refusal


def test_only_the_groups_that_the_model_left_out_on_request(run: Run, tmp_path: Path) -> None:
    from training.data.split import part_of
    from training.recipes.recipe import load_recipe

    recipe = load_recipe("quick")
    groups = [f"visit {n}" for n in range(40)]
    out_of = next(g for g in groups if part_of(g, recipe.shares, recipe.seed) == "held_out")
    learned = next(g for g in groups if part_of(g, recipe.shares, recipe.seed) == "fit")
    shutil.copy(DRAWN, tmp_path / "a.jpg")
    lines = ["photo,species,group,source,creator,licence"]
    lines += [f"a.jpg,taraxacum_officinale,{group},s,c,l" for group in (out_of, learned)]
    (tmp_path / "manifest.csv").write_text("\n".join(lines) + "\n")
    assert run("measure", tmp_path, "--held-out", "--json").json["photos"] == 1
    assert run("measure", tmp_path, "--json").json["photos"] == 2
    (tmp_path / "manifest.csv").write_text("\n".join([lines[0], lines[2]]) + "\n")
    assert "held-out part" in run("measure", tmp_path, "--held-out").refusal
