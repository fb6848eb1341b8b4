"""swardkey models and swardkey measure: the model in charge, and how good it is."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import typer
from PIL import Image

from app import command_line
from app.commands.manage_models import measure, models
from app.services.home import home
from model.photo.saved import STARTER as SHIPPED
from training.registry.models import Registry

ROOT = Path(__file__).resolve().parents[2]
DRAWN = ROOT / "sample_images" / "taraxacum_officinale_flowering_3.jpg"
Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def swardkey(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """Runs a command as the console script does: exit status, standard output, standard error."""
    cli = typer.Typer(no_args_is_help=True, add_completion=False, pretty_exceptions_enable=False)
    cli.add_typer(models, name="models")
    cli.command()(measure)
    monkeypatch.setattr(command_line, "cli", cli)
    monkeypatch.setenv("COLUMNS", "140")

    def run(*arguments: object) -> tuple[int, str, str]:
        with pytest.raises(SystemExit) as ended:
            command_line.main([str(argument) for argument in arguments])
        said = capsys.readouterr()
        return int(ended.value.code or 0), said.out, said.err

    return run


@pytest.fixture
def two(tmp_path: Path) -> tuple[str, str]:
    """Two models of the user's own, the second in charge."""
    registry = Registry(home() / "models")
    names = []
    for n in ("one", "two"):
        shutil.copytree(SHIPPED, tmp_path / n)
        (tmp_path / n / "card.md").write_text(f"# {n}\n")
        names.append(registry.install(tmp_path / n))
        registry.use(names[-1])
    return names[0], names[1]


def test_a_new_user_has_the_starter_in_charge_and_nothing_is_written(swardkey: Run) -> None:
    status, out, err = swardkey("models", "list", "--json")
    found = json.loads(out)
    assert (status, err, found["in_charge"], found["note"]) == (0, "", "starter", None)
    assert [m["name"] for m in found["models"]] == ["starter"] and found["models"][0]["species"] == 11
    assert not home().exists()
    assert json.loads(swardkey("models", "--json")[1]) == found
    status, _, err = swardkey("models", "undo")
    assert status == 2 and "nothing to undo" in err and err.count("\n") == 1


def test_use_and_undo(swardkey: Run, two: tuple[str, str]) -> None:
    one, second = two
    status, out, _ = swardkey("models", "undo")
    assert status == 0 and f"{one} is active now, instead of {second}" in out
    assert json.loads(swardkey("models", "use", "starter", "--json")[1]) == {"in_charge": "starter", "before": one}
    assert "active already" in swardkey("models", "use", "starter")[1]
    assert json.loads(swardkey("models", "undo", "--json")[1])["in_charge"] == one
    status, out, err = swardkey("models", "use", "20200101T000000Z-00000000")
    assert status == 2 and out == "" and "is not installed" in err and err.count("\n") == 1
    listed = swardkey("models")[1]
    assert "active" in listed and "before" in listed and "sound" in listed
    assert json.loads(swardkey("models", "pin", one, "--json")[1]) == {"model": one, "pinned": True}
    assert "pinned" in swardkey("models", "list")[1]
    assert "no longer pinned" in swardkey("models", "pin", one, "--off")[1]


def test_a_damaged_model_is_said_and_what_is_used_instead(swardkey: Run, two: tuple[str, str]) -> None:
    one, second = two
    (home() / "models" / second / "model.json").write_text("{}")
    found = json.loads(swardkey("models", "list", "--json")[1])
    assert found["in_charge"] == one and "damaged (model.json is not as it was written)" in found["note"]
    assert [m["fault"] != "" for m in found["models"]] == [False, False, True]
    out = swardkey("models", "list")[1]
    assert "chosen" in out and "is used instead" in " ".join(out.split())
    status, _, err = swardkey("models", "use", second)
    assert status == 2 and "damaged" in err


def test_undo_loads_nothing_slow(two: tuple[str, str]) -> None:
    code = "import sys\nfrom app.commands.manage_models import models\n"
    code += "try:\n    models(['undo'])\nexcept SystemExit:\n    pass\n"
    code += "print([m for m in ('torch', 'numpy', 'sklearn', 'gradio') if m in sys.modules])"
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True, env=dict(os.environ)
    )
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


def test_measure_prints_one_object_writes_the_page_and_keeps_features(
    swardkey: Run, folder: Path, tmp_path: Path
) -> None:
    page = tmp_path / "page.html"
    status, out, err = swardkey("measure", folder, "--page", page, "--json")
    assert status == 0, err
    found = json.loads(out)
    assert (found["photos"], found["species"]) == (3, 2)
    assert found["per_species"]["soliva_sessilis"]["known"] is False
    assert found["per_species"]["taraxacum_officinale"] == {
        "photos": 1, "top1": 1.0, "low": pytest.approx(0.2065, abs=1e-3), "high": 1.0, "known": True,
    }  # fmt: skip
    assert "left out" in err and "words.jpg" in err and "the page is" in err
    assert "bindii" in page.read_text(encoding="utf-8")
    assert (home() / "cache" / "features.safetensors").exists()
    # In words, from the features that were kept.
    status, out, _ = swardkey("measure", folder)
    assert status == 0 and "starter on 3 photos" in out and "bindii (not known to the model)" in out


def test_measure_says_what_is_wrong_in_one_sentence(swardkey: Run, tmp_path: Path) -> None:
    (tmp_path / "odd" / "no such weed").mkdir(parents=True)
    shutil.copy(DRAWN, tmp_path / "odd" / "no such weed" / "a.jpg")
    (tmp_path / "bad" / "dandelion").mkdir(parents=True)
    (tmp_path / "bad" / "dandelion" / "a.jpg").write_text("words")
    (tmp_path / "good" / "dandelion").mkdir(parents=True)
    shutil.copy(DRAWN, tmp_path / "good" / "dandelion" / "a.jpg")
    for arguments, says in (
        ((tmp_path / "nothing",), "no such folder"),
        ((tmp_path / "odd",), "not species of the flora: no such weed"),
        ((tmp_path / "good", "--model", "unknown"), "is not installed"),
        ((tmp_path / "good", "--page", tmp_path / "none" / "p.html"), "cannot be written"),
        ((tmp_path / "good", "--page", tmp_path), "cannot be written"),
        ((tmp_path / "bad",), "none of its 1 photos can be read"),
    ):
        status, out, err = swardkey("measure", *arguments, "--json")
        assert status == 2 and out == "", arguments
        assert says in err.splitlines()[-1] and "Traceback" not in err


def test_only_the_groups_that_the_model_left_out_on_request(swardkey: Run, tmp_path: Path) -> None:
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
    assert json.loads(swardkey("measure", tmp_path, "--held-out", "--json")[1])["photos"] == 1
    assert json.loads(swardkey("measure", tmp_path, "--json")[1])["photos"] == 2
    (tmp_path / "manifest.csv").write_text("\n".join([lines[0], lines[2]]) + "\n")
    status, _, err = swardkey("measure", tmp_path, "--held-out")
    assert status == 2 and "held-out part" in err
