"""The check of labelled photos: faults, copies, doubtful labels, shortages, what to take and label next."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image, ImageEnhance, ImageFilter

from model.errors import CollectionError, FloraError
from model.photo.head import Discriminant, fit_statistics
from training.audit import Report, check_photos, load_settings
from training.audit.label_next import pick, rank_unlabelled
from training.audit.labels import LabelCheck, find_suspects
from training.audit.next_photos import expect_gains, learning_slope, smoothed_confusion
from training.audit.out_of_sample import OutOfSample, out_of_sample
from training.audit.settings import Labels
from training.audit.shortage import find_shortages
from training.data import look
from training.data.duplicates import Cluster, find_duplicates, merged_groups
from training.data.likeness import likeness
from training.data.look import Look, look_at
from training.data.manifest import LabelledPhoto
from training.data.split import split

SETTINGS = load_settings()
QUICK = SETTINGS.labels.model_copy(update={"folds": 5, "shrinkage": [0.2]})


def picture(seed: int, side: int = 320) -> Image.Image:
    """A picture with patches at several scales, as unlike others as photos are."""
    random = np.random.default_rng(seed)
    whole = np.zeros((side, side, 3))
    for cells in (4, 9, 40, 160):
        noise = Image.fromarray(random.integers(0, 256, (cells, cells, 3)).astype(np.uint8))
        whole += np.asarray(noise.resize((side, side), Image.Resampling.BICUBIC), dtype=float)
    return Image.fromarray((whole / 4).astype(np.uint8))


def saved(
    folder: Path, name: str, image: Image.Image, label: str = "poa_annua", group: str = "", **how: Any
) -> LabelledPhoto:
    image.save(folder / name, **how)
    return LabelledPhoto(folder / name, name, label, group or name, bool(group), "mine", "", "")


def features(photos: list[LabelledPhoto]) -> np.ndarray:
    """Features by what is seen, made up: alike for copies, unlike otherwise."""
    rows = []
    for photo in photos:
        grey = np.asarray(Image.open(photo.file).convert("L").resize((16, 16), Image.Resampling.BOX), dtype=float)
        rows.append(((grey - grey.mean()) / (grey.std() + 1e-9)).ravel())
    return np.stack(rows)


def made_up(
    seed: int, photos: int = 300, species: int = 6, share: float = 0.1, spread: float = 0.7, size: int = 40
) -> tuple[list[LabelledPhoto], np.ndarray, set[str]]:
    """Photos of some species, two of a plant, a share of them under a wrong name."""
    random = np.random.default_rng(seed)
    centres = random.normal(0, 1.0, (species, size))
    truth = np.arange(photos) // 2 % species
    x = centres[truth] + random.normal(0, spread, (photos, size))
    wrong = set(random.choice(photos, round(share * photos), replace=False).tolist())
    found = []
    for i in range(photos):
        label = (truth[i] + random.integers(1, species)) % species if i in wrong else truth[i]
        found.append(LabelledPhoto(Path(), f"{i}", f"species_{label}", f"g{i // 2}", True, "", "", ""))
    return found, x, {str(i) for i in wrong}


def judge(
    photos: list[LabelledPhoto], x: np.ndarray, settings: Labels = QUICK, **more: Any
) -> tuple[OutOfSample, LabelCheck]:
    judged = out_of_sample(x, [p.label for p in photos], [p.group for p in photos], settings, **more)
    return judged, find_suspects(photos, judged, settings.odds)


# Quality.


def test_what_spoils_a_photo_is_named(tmp_path: Path) -> None:
    good = picture(1, 800)
    photos = [
        saved(tmp_path, "good.jpg", good),
        saved(tmp_path, "tiny.jpg", good.resize((90, 90))),
        saved(tmp_path, "blurred.jpg", good.filter(ImageFilter.GaussianBlur(16))),
        saved(tmp_path, "dark.jpg", ImageEnhance.Brightness(ImageEnhance.Contrast(good).enhance(3.0)).enhance(0.2)),
        saved(tmp_path, "bright.jpg", good.point(lambda value: 200 + value // 4)),
        saved(tmp_path, "plain.jpg", Image.new("RGB", (400, 400), "green")),
    ]
    (tmp_path / "broken.jpg").write_bytes((tmp_path / "good.jpg").read_bytes()[:900])
    x = np.vstack([features(photos), np.full((2, 256), np.nan)])
    photos.append(replace(photos[0], file=tmp_path / "broken.jpg", name="broken.jpg"))
    photos.append(replace(photos[0], file=tmp_path / "gone.jpg", name="gone.jpg"))
    faults = check_photos(photos, x, SETTINGS).faults
    kinds = {(fault.photo, fault.kind) for fault in faults}
    assert kinds == {
        ("tiny.jpg", "tiny"),
        ("blurred.jpg", "blurred"),
        ("dark.jpg", "dark"),
        ("bright.jpg", "bright"),
        ("plain.jpg", "empty"),
        ("broken.jpg", "unreadable"),
        ("gone.jpg", "unreadable"),
    }
    told = {fault.photo: fault.words for fault in faults}
    assert "is damaged" in told["broken.jpg"] and "no such file" in told["gone.jpg"]
    assert str(tmp_path) not in " ".join(told.values()), "a photo goes by its name"


@pytest.mark.parametrize("side", [400, 1600])
def test_sharpness_does_not_depend_on_the_size_of_the_file(tmp_path: Path, side: int) -> None:
    image = picture(2, 800)
    photos = [
        saved(tmp_path, "sharp.jpg", image.resize((side, side), Image.Resampling.BOX)),
        saved(
            tmp_path, "blurred.jpg", image.resize((400, 400)).filter(ImageFilter.GaussianBlur(8)).resize((side, side))
        ),
    ]
    sharp, blurred = look_at(photos, SETTINGS.quality.blur_side)
    assert blurred.sharpness < SETTINGS.quality.blurred_below < sharp.sharpness / 10


# Copies.


def test_a_photo_is_opened_once_for_all_checks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    photos = [saved(tmp_path, f"{i}.jpg", picture(i)) for i in range(2)]
    photos.append(replace(photos[0], file=tmp_path / "gone.jpg", name="gone.jpg"))
    cache, opened = tmp_path / "cache" / "looks.safetensors", list[Path]()
    open_as_ever = look.open_photo
    monkeypatch.setattr(look, "open_photo", lambda file: opened.append(file) or open_as_ever(file))
    first = look_at(photos, 150, cache=cache)
    again = look_at(photos, 150, cache=cache)
    assert again == first and [k.small.tobytes() for k in again] == [k.small.tobytes() for k in first]
    assert len(opened) == 4 and opened[-1].name == "gone.jpg", "a photo that cannot be read is tried again"
    assert look_at(photos[:1], 100, cache=cache)[0].sharpness != first[0].sharpness
    cache.write_bytes(b"damaged")
    assert look_at(photos, 150, cache=cache) == first and len(opened) == 8


def test_what_was_looked_at_is_kept_where_a_person_stops_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    photos, cache, opened = (
        [saved(tmp_path, f"{i}.jpg", picture(i)) for i in range(3)],
        tmp_path / "looks",
        list[Path](),
    )
    open_as_ever = look.open_photo
    monkeypatch.setattr(look, "open_photo", lambda file: opened.append(file) or open_as_ever(file))

    def stop(done: int) -> None:
        if done == 2:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        look_at(photos, 150, stop, cache)
    assert len(look_at(photos, 150, cache=cache)) == 3 and [file.name for file in opened] == ["0.jpg", "1.jpg", "2.jpg"]


def test_copies_are_found_and_their_groups_are_one(tmp_path: Path) -> None:
    photos = [saved(tmp_path, f"{i}.png", picture(i), group=f"plant {i}") for i in range(8)]
    first = picture(0)
    copies = [
        saved(tmp_path, "same.png", first, group="elsewhere"),
        saved(tmp_path, "smaller.jpg", first.resize((230, 230)), group="a", quality=70),
        saved(
            tmp_path, "lighter.jpg", ImageEnhance.Brightness(first).enhance(1.15), "bellis_perennis", "b", quality=90
        ),
        saved(tmp_path, "same5.png", picture(5), group="plant 7"),
    ]
    both = photos + copies
    found = find_duplicates(both, look_at(both, SETTINGS.quality.blur_side), features(both), SETTINGS.duplicates)
    first_cluster, second = found.clusters
    assert first_cluster.photos == ("0.png", "same.png", "smaller.jpg", "lighter.jpg")
    assert first_cluster.kind == "near duplicate"
    assert first_cluster.is_conflict, "the same picture stands under two names"
    assert second == Cluster(("5.png", "same5.png"), "same file", ("poa_annua",)) and not second.is_conflict
    groups = merged_groups(both, found.clusters)
    assert groups == [*(f"plant {i}" for i in range(7)), "plant 5", *["plant 0"] * 3, "plant 5"]


def test_copies_are_never_parted_by_a_split() -> None:
    photos = [LabelledPhoto(Path(), f"{i}", "poa_annua", f"g{i % 40}", True, "", "", "") for i in range(120)]
    random = np.random.default_rng(7)
    clusters = [
        Cluster(tuple(map(str, sorted(random.choice(120, 3, replace=False)))), "near duplicate", ("poa_annua",))
        for _ in range(8)
    ]
    groups = merged_groups(photos, clusters)
    parts = split(
        [replace(p, group=g) for p, g in zip(photos, groups, strict=True)],
        {"fit": 0.5, "calibrate": 0.2, "conformal": 0.1, "held_out": 0.2},
        1,
    )
    for cluster in clusters:
        assert len({parts[int(name)] for name in cluster.photos}) == 1
    for group in {p.group for p in photos}:
        assert len({groups[i] for i, p in enumerate(photos) if p.group == group}) == 1, "old groups stay whole"
    assert len(set(groups)) > 1 and len(set(parts)) > 1


@pytest.mark.parametrize("share", [0.9, 0.8, 0.7])
def test_a_part_cut_out_is_found_within_the_whole_and_in_no_other(share: float) -> None:
    def small(image: Image.Image) -> np.ndarray:
        scale = 40 / min(image.size)
        size = (round(image.width * scale), round(image.height * scale))
        return np.asarray(image.convert("L").resize(size, Image.Resampling.BOX))

    for seed in range(4):
        whole, other = picture(seed, 300).resize((400, 300)), picture(seed + 50, 300).resize((400, 300))
        width, height = round(400 * share), round(300 * share)
        part = whole.crop((20, 10, 20 + width, 10 + height))
        assert likeness(small(whole), small(part), 0.6) == likeness(small(part), small(whole), 0.6) > 0.85
        assert likeness(small(other), small(part), 0.6) < 0.75


def test_a_limit_on_comparisons_is_told(tmp_path: Path) -> None:
    photos = [saved(tmp_path, f"{i}.png", picture(i)) for i in range(5)]
    alike = np.ones((5, 8)) + np.random.default_rng(0).normal(0, 0.01, (5, 8))
    limits = SETTINGS.duplicates.model_copy(update={"most_pairs": 3})
    found = find_duplicates(photos, look_at(photos, 150), alike, limits)
    assert found.clusters == () and found.unchecked == 10 - 3


def test_unreadable_and_plain_photos_are_compared_by_their_bytes_alone(tmp_path: Path) -> None:
    plain = [saved(tmp_path, f"{c}.png", Image.new("RGB", (200, 200), c)) for c in ("red", "green")]
    photos = [*plain, saved(tmp_path, "red again.png", Image.new("RGB", (200, 200), "red"))]
    found = find_duplicates(photos, look_at(photos, 150), np.ones((3, 4)), SETTINGS.duplicates)
    assert [c.photos for c in found.clusters] == [("red.png", "red again.png")]
    broken = find_duplicates(photos, [Look("is damaged")] * 3, np.full((3, 4), np.nan), SETTINGS.duplicates)
    assert broken.clusters == ()


# Labels.


@pytest.mark.parametrize("seed", [1])
def test_wrong_labels_are_found_and_come_first(seed: int) -> None:
    photos, x, wrong = made_up(seed)
    judged, found = judge(photos, x)
    names = [s.photo for s in found.suspects]
    right = len(wrong & set(names))
    assert right / len(wrong) >= 0.8 and right / len(names) >= 0.5
    assert len(wrong & set(names[:20])) >= 16
    scores = [s.score for s in found.suspects]
    assert scores == sorted(scores), "the lower the score, the more doubtful, and those come first"
    for suspect in found.suspects:
        row = judged.probabilities[int(suspect.photo)]
        given, likelier = (judged.classes.index(c) for c in (suspect.given, suspect.likelier))
        assert suspect.score == pytest.approx(row[given], abs=1e-6)
        assert row[likelier] == max(np.delete(row, given)) and suspect.odds >= SETTINGS.labels.odds
    assert found.estimated == pytest.approx(30, abs=12)


def test_clean_labels_raise_few_doubts() -> None:
    photos, x, _ = made_up(4, share=0.0)
    assert len(judge(photos, x)[1].suspects) <= 3


def test_shuffled_labels_are_not_believed() -> None:
    """Where labels say nothing, no label is likelier than another by much."""
    photos, x, _ = made_up(5)
    labels = np.random.default_rng(1).permutation([p.label for p in photos])
    judged, found = judge([replace(p, label=str(c)) for p, c in zip(photos, labels, strict=True)], x)
    assert len(found.suspects) <= 0.2 * len(photos)
    assert float(np.nanmax(judged.probabilities)) < 0.6


def test_a_photo_is_never_judged_by_its_own_plant() -> None:
    """Each plant has features of its own that tell the label: learned from, they would make it certain."""
    random = np.random.default_rng(8)
    plants = np.repeat(np.arange(40), 4)
    own = random.normal(0, 3.0, (40, 30))
    x = own[plants] + random.normal(0, 0.1, (160, 30))
    photos = [
        LabelledPhoto(Path(), f"{i}", f"species_{plant % 2}", f"g{plant}", True, "", "", "")
        for i, plant in enumerate(plants)
    ]
    judged, _ = judge(photos, x)
    assert float(np.mean(judged.own > 0.5)) < 0.65
    leaked = [replace(p, group=p.name) for p in photos]
    assert float(np.mean(judge(leaked, x)[0].own > 0.5)) > 0.75, "the test could tell"


def test_probabilities_are_calibrated_out_of_sample() -> None:
    photos, x, _ = made_up(6, photos=1200, share=0.0, spread=2.2)
    judged, _ = judge(photos, x)
    said = judged.probabilities.max(axis=1)
    right = judged.probabilities.argmax(axis=1) == judged.given
    assert right.mean() < 0.97
    assert abs(said.mean() - right.mean()) < 0.03


def test_a_species_of_one_plant_is_not_judged_unless_the_starter_knows_it() -> None:
    photos, x, _ = made_up(9, photos=120, species=4, share=0.0)
    lone = [replace(p, group="one", label="lone") if i < 4 else p for i, p in enumerate(photos)]
    judged, found = judge(lone, x)
    assert found.unjudged == ("lone",) and not judged.judged[:4].any() and judged.judged[4:].all()
    assert found.judged == 116 and not {s.photo for s in found.suspects} & {"0", "1", "2", "3"}
    behind = fit_statistics(x[:40] + 0.01, ["lone" if i < 20 else "species_1" for i in range(40)])
    assert judge(lone, x, background=behind)[1].unjudged == ()


def test_a_starter_behind_helps_few_photos() -> None:
    many, x, _ = made_up(11, photos=1260, share=0.0, spread=1.6)
    behind = fit_statistics(x[60:], [p.label for p in many[60:]])
    turned = {i: f"species_{(int(many[i].label[-1]) + 1) % 6}" for i in range(0, 60, 9)}
    few = [replace(p, label=turned.get(i, p.label)) for i, p in enumerate(many[:60])]
    wrong = {str(i) for i in turned}
    alone, helped = judge(few, x[:60])[1], judge(few, x[:60], background=behind)[1]

    def f1(found: LabelCheck) -> float:
        names = {s.photo for s in found.suspects}
        return 2 * len(names & wrong) / max(len(names) + len(wrong), 1)

    assert f1(helped) > f1(alone)


@pytest.mark.parametrize("labels", [["a"], ["a", "a", "a"], ["a", "b"]])
def test_too_little_to_judge_is_no_fault(labels: list[str]) -> None:
    photos = [LabelledPhoto(Path(), f"{i}", label, f"g{i}", True, "", "", "") for i, label in enumerate(labels)]
    found = judge(photos, np.random.default_rng(0).normal(size=(len(labels), 5)))[1]
    assert found.suspects == () and found.estimated == 0


# What is missing, and what to take and label next.


def test_what_is_missing_is_said() -> None:
    found = find_shortages(
        ["a"] * 3 + ["b"] * 9 + ["d"] * 5, ["g1"] * 12 + ["g2"] * 3 + ["g3"] * 2, SETTINGS.enough, ["c"]
    )
    assert [(s.species, s.photos, s.groups) for s in found] == [("a", 3, 1), ("b", 9, 1), ("c", 0, 0)]
    assert [s.missing for s in found] == [
        "2 more photos, at least 1 of them from another plant or visit",
        "1 more photo, from another plant or visit",
        "5 photos, from at least 2 plants or visits",
    ]


def sampled(
    random: np.random.Generator, centres: np.ndarray, spread: np.ndarray, counts: list[int]
) -> tuple[np.ndarray, np.ndarray]:
    truth = np.repeat(np.arange(len(centres)), counts)
    return centres[truth] + random.normal(size=(len(truth), centres.shape[1])) * spread[truth][:, None], truth


def test_the_shares_of_error_sum_to_the_balanced_error_and_an_unknown_species_gains_most() -> None:
    photos, x, _ = made_up(12, share=0.2)
    judged, _ = judge(photos, x)
    table = smoothed_confusion(judged, SETTINGS.next.steady)
    assert np.allclose(np.diag(table), 0) and (table >= 0).all()
    groups = [p.group for p in photos]
    gains = expect_gains(photos, groups, judged, SETTINGS.next, 0.33, wanted=["never_seen"])
    assert gains[0].species == "never_seen" and gains[0].error is None and gains[0].photos == 0

    # Undo the power of each: what is left are the shares u_s / S.
    def power(photos: int, plants: int) -> float:
        known = photos / (1 + (photos / plants - 1) * SETTINGS.next.alike_within_group)
        return 1 - ((known + 1) / (known + 1 + SETTINGS.next.take)) ** 0.33

    shares = [g.gain * len(gains) / power(g.photos, g.groups) for g in gains[1:]]
    assert sum(shares) == pytest.approx(sum(g.error or 0 for g in gains[1:]))
    assert [g.gain for g in gains] == sorted((g.gain for g in gains), reverse=True)


def test_what_is_hard_and_what_it_is_mixed_up_with_is_named() -> None:
    random = np.random.default_rng(13)
    centres = random.normal(0, 1.0, (4, 30))
    centres[1] = centres[0] + 0.1
    x, truth = sampled(random, centres, np.full(4, 1.0), [40] * 4)
    photos = [LabelledPhoto(Path(), f"{i}", f"s{c}", f"{i}", True, "", "", "") for i, c in enumerate(truth)]
    judged, _ = judge(photos, x)
    gains = {g.species: g for g in expect_gains(photos, [p.name for p in photos], judged, SETTINGS.next, 0.33)}
    assert gains["s0"].confused[:1] == ("s1",) and gains["s1"].confused[:1] == ("s0",)
    assert gains["s0"].gain > gains["s2"].gain
    hard = [int(name) for name in gains["s0"].hard]
    assert hard and all(truth[i] == 0 and judged.probabilities[i].argmax() != 0 for i in hard)


def test_the_slope_is_steeper_where_photos_still_help() -> None:
    photos, x, _ = made_up(14, photos=600, share=0.0, spread=3.0, size=100)
    labels, groups = [p.label for p in photos], [p.group for p in photos]
    still = learning_slope(x, labels, groups, 0.4, SETTINGS.labels)
    noise = list(np.random.default_rng(3).permutation(labels))
    flat = learning_slope(x, noise, groups, 0.4, SETTINGS.labels)
    assert still is not None and flat is not None and flat < 0.12 < 0.25 < still <= 1.0
    assert learning_slope(x[:4], labels[:4], ["one"] * 4, 0.4, SETTINGS.labels) is None


def test_labelling_as_advised_beats_chance() -> None:
    better = []
    for seed in range(8):
        random = np.random.default_rng(seed)
        centres = random.normal(0, 1.0, (6, 60))
        centres[1] = centres[0] + random.normal(0, 0.35, 60)
        spread = np.full(6, 1.3)
        x, truth = sampled(random, centres, spread, [8] * 6)
        pool, pool_truth = sampled(random, centres, spread, [20, 20, 90, 90, 90, 90])
        test_x, test = sampled(random, centres, spread, [150] * 6)
        labels = [str(c) for c in truth]
        judged = out_of_sample(x, labels, [str(i) for i in range(len(x))], QUICK)
        wide = SETTINGS.next.model_copy(update={"show_to_label": 40})
        told = rank_unlabelled([str(i) for i in range(len(pool))], pool, (x, labels), judged, wide)
        ends = []
        for rows in (np.array([int(t.photo) for t in told]), random.choice(len(pool), 40, replace=False)):
            statistics = fit_statistics(np.vstack([x, pool[rows]]), [*labels, *(str(c) for c in pool_truth[rows])])
            ends.append(float((Discriminant(statistics, 0.4).scores(test_x).argmax(axis=1) == test).mean()))
        better.append(ends[0] - ends[1])
    assert np.mean(better) > 2 * np.std(better) / np.sqrt(len(better)) > 0


def test_no_two_copies_are_picked_to_label() -> None:
    x = np.random.default_rng(15).normal(size=(6, 20))
    twice = np.vstack([x, x])
    picked = [row % 6 for row, _ in pick(np.linspace(1, 0.5, 12), twice, 12, 0.25)]
    assert sorted(picked) == list(range(6))
    values = [value for _, value in pick(np.linspace(1, 0.5, 12), twice, 12, 0.25)]
    assert values[0] == pytest.approx(2**0.25)


# The whole.


def whole(folder: Path) -> Report:
    photos = [
        saved(folder, f"{label}{i}.png", picture(10 * n + i), label, f"{label} {i}")
        for n, label in enumerate(("poa_annua", "bellis_perennis"))
        for i in range(6)
    ]
    photos.append(saved(folder, "again.png", picture(0), "bellis_perennis", "b"))
    photos.append(saved(folder, "copy.png", picture(11), "bellis_perennis", "c"))
    photos.append(saved(folder, "lone.png", picture(99), "soliva_sessilis", "l"))
    photos.append(saved(folder, "plain.png", Image.new("RGB", (300, 300), "green"), "poa_annua", "p"))
    x = features(photos)[:, :30] + 3.0 * np.array([p.label == "poa_annua" for p in photos])[:, None]
    return check_photos(photos, x, SETTINGS, wanted=["soliva_sessilis"])


def test_the_whole_check_finds_each_kind_and_plans_first(tmp_path: Path) -> None:
    report = whole(tmp_path)
    assert report.photos == 16 and report.species == 3
    assert [c.photos for c in report.conflicts] == [("poa_annua0.png", "again.png")]
    assert [s.species for s in report.shortages] == ["soliva_sessilis"]
    text = str(report)
    assert text.index("What to do, in this order:") < text.index("The same picture under two names:")
    assert "1. Choose a name for 1 picture in the collection under two names." in text
    asked = [q.photo for q in report.questions()]
    assert len(asked) == len(set(asked)), "each photo is asked about once"
    assert asked[:2] == ["poa_annua0.png", "again.png"] and {"copy.png", "plain.png"} <= set(asked)
    found = json.loads(json.dumps(report.as_json(), allow_nan=False))
    assert len(found["questions"]) == len(asked) and found["clusters"][0]["is_conflict"]


def test_a_clean_collection_needs_nothing_but_more_photos(tmp_path: Path) -> None:
    photos = [saved(tmp_path, f"{i}.png", picture(i), f"s{i % 2}", f"g{i}") for i in range(12)]
    x = np.random.default_rng(1).normal(size=(12, 20)) + 9.0 * np.arange(12)[:, None] % 2
    report = check_photos(photos, x, SETTINGS)
    assert (report.faults, report.clusters, report.suspects, report.shortages) == ((), (), (), ())
    assert report.questions() == ()


def test_nothing_to_check_and_bad_settings_are_sentences(tmp_path: Path) -> None:
    with pytest.raises(CollectionError, match="no labelled photo"):
        check_photos([], np.zeros((0, 4)), SETTINGS)
    (tmp_path / "audit.yaml").write_text("labels: {odds: 0.2}\n", encoding="utf-8")
    with pytest.raises(FloraError, match=r"audit\.yaml"):
        load_settings(tmp_path)


def test_copies_of_real_photos_are_found_and_nothing_else(photos: Path, tmp_path: Path) -> None:
    from training.data.features import features_of
    from training.data.manifest import read_manifest

    rows = read_manifest(photos)
    picked = [p for p in rows if p.source != "seedlings"][:: len(rows) // 12][:10]
    image = [Image.open(p.file).convert("RGB") for p in picked[:4]]
    width, height = image[3].size
    copies = [
        saved(tmp_path, "smaller.jpg", image[0].resize((image[0].width // 2, image[0].height // 2)), quality=80),
        saved(tmp_path, "worse.jpg", image[1], quality=35),
        saved(tmp_path, "lighter.jpg", ImageEnhance.Brightness(image[2]).enhance(1.3), quality=88),
        saved(tmp_path, "part.jpg", image[3].crop((5, 5, width * 9 // 10, height * 9 // 10)), quality=90),
    ]
    both = picked + copies
    found = find_duplicates(both, look_at(both, 150), features_of(both)[0], SETTINGS.duplicates)
    expected = {(picked[i].name, copy.name) for i, copy in enumerate(copies)}
    assert {c.photos for c in found.clusters} == expected
