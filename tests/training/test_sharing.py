"""Learning shared without photos: the sum is exact, what does not fit is left out, and out again leaves no trace."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from safetensors.numpy import load, save

from model.errors import CollectionError, ModelError
from model.photo.evidence import Calibration, Classifier
from model.photo.extract import RECIPE
from model.photo.head import Statistics, fit_statistics
from model.photo.saved import STARTER, read_model, save_model
from tests.training.made_up_photos import made_up_photos
from training.data.dataset import Data
from training.gate import Override, load_rules
from training.gate.incumbent import LEARNED
from training.head.scatter import join
from training.recipes import evaluation
from training.recipes.prepare import Prepared
from training.recipes.recipe import load_recipe
from training.registry.models import Registry
from training.sharing.give import counts_of, give
from training.sharing.join_decision import Bench, join_gifts, take_out_gifts
from training.sharing.joined_model import Entry, Gift, JoinedModel, take_apart
from training.sharing.merge import Contribution, merge
from training.sharing.screen import Screen
from training.sharing.shared_file import KEY, Header, Shared, read_shared
from training.sharing.sharing_rules import load_sharing_rules

RULES = load_sharing_rules()
DAY = date(2026, 11, 30)
NEW = ("poa_annua", "soliva_sessilis", "oxalis_corniculata", "plantago_lanceolata")
OLD = ("alopecurus_myosuroides", "apera_spica_venti", "trifolium_repens")


@pytest.fixture(scope="module")
def starter() -> tuple[Statistics, Calibration]:
    return read_model(STARTER)


def file_of(data: Data, path: Path, giver: str) -> Path:
    path.write_bytes(give(data, set(data.labels), RULES, giver=giver, day=DAY, licence="CC0")[1])
    return path


def gift_of(shared: Shared, left_out: dict[str, str] | None = None) -> Gift:
    return Gift(Entry.of(shared, left_out or {}, RULES), shared)


def bits(statistics: Statistics) -> tuple[bytes, ...]:
    return (statistics.counts.tobytes(), statistics.means.tobytes(), statistics.scatter.tobytes())


def cloud(names: str, each: int, seed: int) -> Statistics:
    labels = list(names) * each
    return fit_statistics(np.random.default_rng(seed).normal(0, 1, (len(labels), 8)), labels)


def test_what_is_summed_does_not_depend_on_order_and_nothing_joined_changes_nothing() -> None:
    own = cloud("abc", 9, 1)
    one, two = (Contribution(n, cloud(k, 6, s), (), 0.5, 99) for n, k, s in (("one", "cd", 2), ("two", "cde", 3)))
    assert merge(own, []) is own
    assert bits(merge(own, [one, two])) == bits(merge(own, [two, one]))
    assert bits(merge(own, [one])) != bits(own)


def test_with_full_weight_the_sum_is_what_all_photos_at_once_give() -> None:
    own, given = cloud("abc", 9, 1), cloud("cd", 6, 2)
    found, wanted = merge(own, [Contribution("one", given, (), 1.0, 99)]), join(own, given, 1.0)
    assert found.classes == wanted.classes
    assert np.allclose(found.counts, wanted.counts) and np.allclose(found.means, wanted.means)
    assert np.allclose(found.scatter / wanted.scatter, (found.scatter / wanted.scatter)[0, 0])  # of the freedom alone
    half = merge(own, [Contribution("one", given, (), 0.5, 4)])
    assert dict(zip(half.classes, half.counts, strict=True)) == {"a": 9, "b": 9, "c": 9 + 0.5 * 4, "d": 4}


def test_a_species_that_is_left_out_leaves_no_trace_and_takes_the_scatter_with_it() -> None:
    own, given = cloud("abc", 9, 1), cloud("cd", 6, 2)
    found = merge(own, [Contribution("one", given, {"d"}, 0.5, 99)])
    assert found.classes == own.classes
    again = merge(own, [Contribution("one", replace(given, scatter=given.scatter * 1e6), {"d"}, 0.5, 99)])
    assert bits(found) == bits(again)


def test_a_shared_file_holds_statistics_and_nothing_else(tmp_path: Path) -> None:
    data = made_up_photos((*NEW[:2], "other:sunflower"), 6, 1)
    secret = tuple(replace(p, name="Smith, 4 High St.jpg", creator="Jo Client", source="phone") for p in data.photos)
    header, packed = give(
        replace(data, photos=secret), NEW[:2], RULES, giver="Kim", day=DAY, licence="CC BY 4.0", note="couch lawns"
    )
    (tmp_path / "a").write_bytes(packed)
    found = read_shared(tmp_path / "a", RULES)
    assert found.header == header and found.statistics.classes == tuple(sorted(NEW[:2]))
    own = data.where(np.isin(data.labels, NEW[:2]))
    fitted = fit_statistics(own.x, own.labels)
    assert np.allclose(found.statistics.means, fitted.means, atol=1e-5)
    assert np.allclose(found.statistics.scatter, fitted.scatter, atol=1e-4)
    for word in (b"Smith", b"Jo Client", b"phone", b"other:sunflower"):
        assert word not in packed
    text = json.loads(packed[8 : 8 + int.from_bytes(packed[:8], "little")])
    assert set(text) == {"__metadata__", "means", "scatter_upper"} and set(text["__metadata__"]) == {KEY}
    assert set(json.loads(text["__metadata__"][KEY])) == {
        "version", "features", "species", "licence", "giver", "day", "note",
    }  # fmt: skip


def test_too_few_photos_are_not_shared() -> None:
    data = made_up_photos(NEW[:1], 4, 1)
    with pytest.raises(CollectionError, match="4 photos of 4 plants or visits are too few"):
        give(data, NEW[:1], RULES, giver="Kim", day=DAY, licence="CC0")
    same = made_up_photos(NEW[:1], 9, 1)
    same = replace(same, photos=tuple(replace(p, group=(p.group[-1] > "4" and "x") or "y") for p in same.photos))
    assert counts_of(same)[NEW[0]].groups == 2
    with pytest.raises(CollectionError, match="of 2 plants"):
        give(same, NEW[:1], RULES, giver="Kim", day=DAY, licence="CC0")
    with pytest.raises(CollectionError, match="no species has 5 photos"):
        give(data, (), RULES, giver="Kim", day=DAY, licence="CC0")


SPOILT: dict[str, tuple[object, str]] = {
    "empty": (b"", "is not a file of shared statistics"),
    "words": (b"words and words and words", "is not a file of shared statistics"),
    "long list": ((10**9).to_bytes(8, "little") + b"{}", "is not a file of shared statistics"),
    "deep": ((90_000).to_bytes(8, "little") + b"[" * 90_000, "is not a file of shared statistics"),
    "cut": (lambda data: data[:-9], "is not a file of shared statistics"),
    "no text": ({"text": None}, "does not say what it holds"),
    "deep text": ({"text": "[" * 50_000}, "does not say what it holds"),
    "more text": ({"place": "Smith St"}, "does not say what it holds"),
    "closed licence": ({"licence": "CC BY-NC"}, "the licence is not one of"),
    "steers a screen": ({"giver": "Kim\x1b[2J"}, "cannot be printed"),
    "long name": ({"giver": "K" * 300}, "does not say what it holds"),
    "path": ({"species": {"../x": {"photos": 9, "groups": 9}}}, "does not say what it holds"),
    "few photos": ({"species": {NEW[0]: {"photos": 4, "groups": 3}}}, "gives poa_annua from 4 photos"),
    "few groups": ({"species": {NEW[0]: {"photos": 9, "groups": 2}}}, "photos of 2 groups"),
    "endless photos": ({"species": {NEW[0]: {"photos": 10**30, "groups": 9}}}, "does not say what it holds"),
    "more species": ({"species": {n: {"photos": 9, "groups": 9} for n in NEW}}, "the numbers of 4 species"),
    "other features": ({"features": "mine"}, "other views or another network"),
    "not finite": (lambda means, upper: (means * np.inf, upper), "numbers that no statistics have"),
    "huge": (lambda means, upper: (means, upper * 1e30), "numbers that no statistics have"),
    "long floats": (lambda means, upper: (means.astype(float), upper), "numbers that no statistics have"),
    "another shape": (lambda means, upper: (means[:, :9], upper), "does not hold the numbers of 1 species"),
    "negative": (lambda means, upper: (means, -upper), "not positive"),
    "no scatter": (lambda means, upper: (means, upper * 0), "not positive"),
    "askew": (lambda means, upper: (means, np.full_like(upper, -1.0)), "not positive"),
}  # fmt: skip


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    return file_of(made_up_photos(NEW[:1], 6, 1), tmp_path_factory.mktemp("sound") / "s", "Kim").read_bytes()


@pytest.mark.parametrize("kind", SPOILT)
def test_a_hostile_file_is_refused_in_one_sentence(sound: bytes, tmp_path: Path, kind: str) -> None:
    how, says = SPOILT[kind]
    (tmp_path / "f").write_bytes(spoilt(sound, how))
    with pytest.raises(ModelError) as error:
        read_shared(tmp_path / "f", RULES)
    told = str(error.value)
    assert says in told and told.startswith(str(tmp_path / "f")) and told.isprintable() and len(told) < 600


def spoilt(sound: bytes, how: object) -> bytes:
    """A sound file spoilt: by other bytes, by other fields of its text, or by other numbers."""
    if isinstance(how, bytes):
        return how
    arrays = load(sound)
    text = json.loads(sound[8 : 8 + int.from_bytes(sound[:8], "little")])["__metadata__"][KEY]
    if isinstance(how, dict):
        changed = how["text"] if "text" in how else json.dumps(json.loads(text) | how)
        return bytes(save(arrays, {KEY: changed} if changed is not None else {"a": "b"}))
    assert callable(how)
    try:
        means, upper = how(arrays["means"], arrays["scatter_upper"])
    except TypeError:
        return bytes(how(sound))
    return bytes(save({"means": means, "scatter_upper": np.asarray(upper)}, {KEY: text}))


def test_what_is_no_file_is_refused_too(tmp_path: Path) -> None:
    for path in (tmp_path, tmp_path / "none", Path("/dev/zero")):
        with pytest.raises(ModelError, match="cannot be read"):
            read_shared(path, RULES)


def test_what_does_not_fit_is_left_out(starter: tuple[Statistics, Calibration]) -> None:
    known, calibration = starter
    mine = made_up_photos(OLD[:1], 10, 5)
    references = {"the starter's class": known, "your own photos": fit_statistics(mine.x, mine.labels)}
    screen = Screen(known, calibration.shrinkage, references, {*OLD, *NEW}, RULES)
    data = made_up_photos((*OLD, *NEW[:2]), 10, 6)
    given = fit_statistics(data.x, data.labels)
    assert screen.left_out(given) == {}
    swapped = replace(given, classes=tuple({OLD[0]: OLD[1], OLD[1]: OLD[0]}.get(n, n) for n in given.classes))
    found = screen.left_out(swapped)
    assert set(found) == set(OLD[:2]) and "lies nearer to apera_spica_venti" in found[OLD[0]]
    copy = replace(given, classes=tuple({OLD[2]: NEW[2]}.get(n, n) for n in given.classes))
    assert screen.left_out(copy) == {NEW[2]: "looks like trifolium_repens itself under another name"}
    means = given.means.copy()
    means[given.classes.index(OLD[0])] += 3
    means[given.classes.index(NEW[0])] += 3
    found = screen.left_out(replace(given, means=means))
    assert set(found) == {OLD[0], NEW[0]} and "up to 500 is taken" in found[OLD[0]] and "all plants" in found[NEW[0]]
    alone = Screen(known, calibration.shrinkage, references, set(OLD), RULES)
    assert set(alone.left_out(given).values()) == {"is not in the flora"}
    with pytest.raises(ModelError, match="times as wide as your own"):
        screen.left_out(replace(given, scatter=given.scatter * 100))


def bench(tmp_path: Path, data: Data | None) -> Bench:
    return Bench(Prepared(data, {}) if data else None, load_recipe("quick"), load_rules(), tmp_path / "cache")


WORD = Override("Kim", "I know who gave it")


def active(registry: Registry) -> JoinedModel:
    found = registry.in_charge()
    return take_apart(found.name, found.folder, RULES)


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


def test_taking_out_restores_the_model_to_the_last_bit(tmp_path: Path) -> None:
    registry, nothing = Registry(tmp_path / "models"), bench(tmp_path, None)
    own_model(made_up_photos(NEW[3:], 12, 4), tmp_path / "own")
    mine = registry.install(tmp_path / "own")
    registry.use(mine)
    before = contents(registry.folder / mine)
    one = gift_of(read_shared(file_of(made_up_photos(NEW[:2], 10, 1), tmp_path / "1", "Zoë's Lawns"), RULES))
    two = gift_of(read_shared(file_of(made_up_photos(NEW[1:3], 10, 2), tmp_path / "2", "Ali"), RULES))
    kept = join_gifts(active(registry), [one], registry, nothing, None)
    assert not kept.changed and kept.verdict.decision == "cannot_tell" and registry.in_charge().name == mine
    join_gifts(active(registry), [one], registry, nothing, WORD)
    with_one, statistics = registry.in_charge(), read_model(registry.in_charge().folder)[0]
    assert {*NEW[:2], NEW[3]} <= set(statistics.classes)
    join_gifts(active(registry), [one, two], registry, nothing, WORD)
    model = active(registry)
    assert [gift.entry.giver for gift in model.gifts] == ["Zoë's Lawns", "Ali"]
    assert "Ali, 2026-11-30, CC0: oxalis_corniculata (10 photos)" in (model.folder / "card.md").read_text("utf-8")
    with pytest.raises(ModelError, match="nothing of 'Al' is joined"):
        take_out_gifts(model, ["Al"], registry)
    left = take_out_gifts(model, ["Ali"], registry)
    assert bits(read_model(left.folder)[0]) == bits(statistics)
    assert (left.folder / "head.safetensors").read_bytes() == (with_one.folder / "head.safetensors").read_bytes()
    back = take_out_gifts(active(registry), ["zoe-s-lawns"], registry)
    assert back.name == mine and contents(back.folder) == before
    assert registry.history()[-1]["without"] == ["zoe-s-lawns"]


def test_taken_out_of_the_starter_the_starter_is_back(tmp_path: Path) -> None:
    registry = Registry(tmp_path / "models")
    gift = gift_of(read_shared(file_of(made_up_photos(NEW[:2], 10, 1), tmp_path / "1", "Kim"), RULES))
    done = join_gifts(active(registry), [gift], registry, bench(tmp_path, None), WORD)
    assert not (registry.folder / done.in_charge / "backbone.onnx").exists()
    assert take_out_gifts(active(registry), ["Kim"], registry).name == "starter"


def own_model(data: Data, folder: Path) -> None:
    """A model of the user's own, grown from the starter."""
    base, calibration = read_model(STARTER)
    learned = {f"{i:064x}": label for i, label in enumerate(data.labels)}
    grown = join(base, fit_statistics(data.x, data.labels), 0.3)
    save_model(folder, grown, calibration, {LEARNED: learned, "base_weight": 0.3}, "# My own\n")


def test_the_gate_judges_on_ones_own_held_out_photos(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(evaluation, "skew_of", lambda *_: 0.0)
    registry = Registry(tmp_path / "models")
    (tmp_path / "p").mkdir()
    # Of two species of the starter and of one that the gift brings.
    mine = bench(tmp_path, made_up_photos((*OLD, NEW[0]), 120, 7, tmp_path / "p"))
    good = gift_of(read_shared(file_of(made_up_photos((OLD[0], *NEW[:2]), 20, 8), tmp_path / "1", "Kim"), RULES))
    done = join_gifts(active(registry), [good], registry, mine, None)
    assert done.changed and done.verdict.photos >= 100, str(done.verdict)
    assert [new.species for new in done.verdict.new_species] == [NEW[0]] and done.verdict.new_species[0].recall > 0.8
    assert (registry.in_charge().folder / "conformal.json").exists()
    # What the screen would have left out, the gate turns down: a clover that takes the dandelion's place.
    take_out_gifts(active(registry), ["Kim"], registry)
    wrong = made_up_photos((OLD[1],), 400, 9)
    swapped = replace(wrong, photos=tuple(replace(photo, label=NEW[2]) for photo in wrong.photos))
    bad = gift_of(read_shared(file_of(swapped, tmp_path / "2", "Mal"), RULES))
    done = join_gifts(active(registry), [bad], registry, mine, None)
    assert not done.changed and done.verdict.failed, str(done.verdict)
    assert registry.in_charge().name == "starter"


def test_what_the_starter_knows_is_judged_from_its_statistics_where_photos_are_few(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(evaluation, "skew_of", lambda *_: 0.0)
    registry = Registry(tmp_path / "models")
    (tmp_path / "p").mkdir()
    good = gift_of(read_shared(file_of(made_up_photos((OLD[0], *NEW[:2]), 20, 8), tmp_path / "1", "Kim"), RULES))
    wrong = made_up_photos((OLD[1],), 400, 9)  # under the name of another species, which takes its place
    swapped = replace(wrong, photos=tuple(replace(photo, label=NEW[2]) for photo in wrong.photos))
    bad = gift_of(read_shared(file_of(swapped, tmp_path / "2", "Mal"), RULES))
    for mine in (bench(tmp_path, None), bench(tmp_path, made_up_photos((OLD[2], NEW[0]), 30, 7, tmp_path / "p"))):
        refused = join_gifts(active(registry), [bad], registry, mine, WORD)
        assert "known species, from statistics" in {rule.name for rule in refused.verdict.failed}, str(refused.verdict)
        assert not refused.changed, "a word given before the figures were known does not cover a loss"
        kept = join_gifts(active(registry), [good], registry, mine, WORD)
        assert kept.changed and not kept.verdict.failed, str(kept.verdict)
        take_out_gifts(active(registry), ["Kim"], registry)


def test_a_damaged_account_is_a_sentence(tmp_path: Path) -> None:
    registry = Registry(tmp_path / "models")
    gift = gift_of(read_shared(file_of(made_up_photos(NEW[:1], 10, 1), tmp_path / "1", "Kim"), RULES))
    join_gifts(active(registry), [gift], registry, bench(tmp_path, None), WORD)
    folder = shutil.copytree(registry.in_charge().folder, tmp_path / "copy")
    account = json.loads((folder / "recipe.json").read_text())
    for bad in ("x", [{"name": "../../x"}], [{**account["shared"][0], "name": "../../etc/passwd"}]):
        (folder / "recipe.json").write_text(json.dumps(account | {"shared": bad}))
        with pytest.raises(ModelError, match=r"does not say who gave what|cannot be read"):
            take_apart("copy", folder, RULES)
    assert isinstance(active(registry).own, Classifier) and Header.model_fields["version"].default == 1
    assert gift.shared.header.features == RECIPE
