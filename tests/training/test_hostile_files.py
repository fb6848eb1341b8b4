"""What others may send: a part of what ``python -m tests.security.hostile_files`` tries, and holes that were mended."""

from __future__ import annotations

import json
import os
import pickle
import shutil
from pathlib import Path

import numpy as np
import pytest
from safetensors.numpy import load_file, save_file

from model.errors import AnswerError, CollectionError, FloraError, ModelError
from model.flora.load import read_yaml
from model.identify import Key
from model.photo.saved import STARTER
from model.photo.tuned import read_classifier
from model.traits.answers import check_answer
from tests.security.hostile_archives import collect, jpeg, packed
from tests.security.hostile_files import run
from tests.security.hostile_model_files import Evil
from tests.security.hostile_watch import Try, Watch, broken, meet, table
from tests.security.hostile_zip_ends import lies
from tests.training.test_darwin_core import medium, occurrence, pack
from training.collection import Collection, Names, Wishes, open_source, plan_intake
from training.collection.fetch import is_public
from training.collection.offer import Refusal
from training.collection.own import read_own
from training.data import manifest
from training.data.labelled import photos_below, read_labelled
from training.data.manifest import COLUMNS, read_manifest
from training.registry.model_folder import MANIFEST
from training.registry.models import Registry

pytestmark = pytest.mark.skipif(os.name == "nt", reason="without pipes as files, one that hangs the tool goes unseen")


@pytest.mark.filterwarnings("ignore")
def test_some_of_each_kind_end_in_a_result_or_a_sentence(tmp_path: Path) -> None:
    """``python -m tests.security.hostile_files`` tries all."""
    met = run(tmp_path, zips=10, cuts=8, every=211)
    assert len(met) > 5 and not broken(met), table(met) + str(broken(met))


def test_the_watch_sees_what_it_is_there_for(tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    watch = Watch((tmp_path / "in",))

    def long_sentence() -> None:
        raise ModelError("x" * 2000)

    tried = {
        "outside": lambda: (tmp_path / "out").write_text("x"),
        "up": lambda: (tmp_path / "in" / ".." / "out2").mkdir(),
        "link": lambda: (tmp_path / "in" / "a").symlink_to("/etc/passwd") or (tmp_path / "b").symlink_to("a"),
        "pickle": lambda: pickle.loads(pickle.dumps(Path("x"))),
        "fault": lambda: {}["x"],
        "sentence": long_sentence,
        "memory": lambda: len(bytearray(900_000_000)) and None,
    }
    for name, act in tried.items():
        assert broken([meet(Try("watch", name, act), watch, tmp_path)]), name
    fine = [meet(Try("watch", "fine", lambda: (tmp_path / "in" / "c").write_text("x")), watch, tmp_path)]
    assert not broken(fine)


# Models


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return Path(shutil.copytree(STARTER, tmp_path / "model"))


@pytest.mark.parametrize(
    ("field", "value", "says"),
    [
        ("classes", ["../../etc/passwd"] + ["s"] * 15, "not written as it should be"),
        ("classes", ["=1+1"] + ["s"] * 15, "not written as it should be"),
        ("classes", ["same"] * 16, "named twice"),
        ("temperature", float("nan"), "number"),
        ("temperature", float("inf"), "number"),
        ("novelty", [0, 0, 0, 1], "more than 0"),
        ("floor", 0, "more than 0"),
    ],
)
def test_a_description_that_no_model_has_is_refused(folder: Path, field: str, value: object, says: str) -> None:
    data = json.loads((folder / "model.json").read_text())
    (folder / "model.json").write_text(json.dumps({**data, field: value}))
    with pytest.raises(ModelError, match=says):
        read_classifier(folder)


@pytest.mark.parametrize(
    ("name", "change", "says"),
    [
        ("counts", lambda a: a * 0, "no head has"),
        ("counts", lambda a: a.astype(np.int64), "not 16-bit or 32-bit"),
        ("means", lambda a: a + np.float32(3e38), "no head has"),
        ("scatter_upper", lambda a: a * 0 - 1000, "fit no head"),
    ],
)
def test_arrays_that_are_no_head_are_refused(folder: Path, name: str, change: object, says: str) -> None:
    arrays = load_file(folder / "head.safetensors")
    save_file({**arrays, name: change(arrays[name])}, folder / "head.safetensors")  # type: ignore[operator]
    with pytest.raises(ModelError, match=says):
        read_classifier(folder)


def test_a_long_list_of_arrays_and_text_in_another_encoding_are_refused(folder: Path) -> None:
    (folder / "head.safetensors").write_bytes((10**8).to_bytes(8, "little") + b"x" * 1000)
    with pytest.raises(ModelError, match="no model lists so many arrays"):
        read_classifier(folder)
    (folder / "model.json").write_bytes("{}".encode("utf-16"))
    with pytest.raises(ModelError, match="does not describe a model"):
        read_classifier(folder)


@pytest.mark.parametrize("kind", ["link", "pipe", "endless list", "deep JSON", "link to a folder", "twice"])
def test_what_is_no_ordinary_file_is_not_read_and_the_starter_is_used(folder: Path, tmp_path: Path, kind: str) -> None:
    registry = Registry(tmp_path / "models")
    name = registry.install(folder)
    registry.use(name)
    inside = registry.folder / name
    if kind == "link to a folder":
        inside.rename(tmp_path / "elsewhere")
        inside.symlink_to(tmp_path / "elsewhere")
    elif kind == "endless list":
        (inside / MANIFEST).unlink()
        (inside / MANIFEST).symlink_to("/dev/zero")
    elif kind in ("link", "pipe"):
        (inside / "card.md").unlink()
        (inside / "card.md").symlink_to("/dev/zero") if kind == "link" else os.mkfifo(inside / "card.md")
    elif kind == "twice":
        (inside / MANIFEST).write_text((inside / MANIFEST).read_text() * 2)
    else:
        (registry.folder / "current.json").write_bytes(b"[" * 100_000)
    found = registry.in_charge()
    assert found.name == "starter" and "is used instead" in found.note


@pytest.mark.parametrize("text", ['{"current": "starter", "previous": {}}', '{"current": [], "previous": null}', "[]"])
def test_a_pointer_of_the_wrong_form_is_a_sentence(tmp_path: Path, text: str) -> None:
    (tmp_path / "current.json").write_text(text)
    with pytest.raises(ModelError, match="choose"):
        Registry(tmp_path).pointer()
    assert Registry(tmp_path).in_charge().name == "starter"


@pytest.mark.parametrize("file", ["recipe.json", "conformal.json"])
def test_a_model_with_json_that_cannot_be_read_is_not_installed(folder: Path, tmp_path: Path, file: str) -> None:
    (folder / file).write_bytes(b"[" * 100_000)
    with pytest.raises(ModelError, match="not JSON that can be read"):
        Registry(tmp_path / "models").install(folder)


def test_nothing_of_a_pickle_is_run(folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    for name in ("head.safetensors", "tuned.safetensors", "model.json"):
        (folder / name).write_bytes(pickle.dumps(Evil()))
        with pytest.raises(ModelError):
            read_classifier(folder)
    assert not (tmp_path / "swardkey-was-here").exists()


# Zips, folders and tables


@pytest.mark.parametrize("kind", ["64-bit end that lies", "signs of an end within the end", "one place for all"])
def test_zips_that_say_one_thing_and_hold_another_are_refused(tmp_path: Path, kind: str) -> None:
    good = packed([("dandelion/a.jpg", jpeg())])
    (tmp_path / "a.zip").write_bytes(dict(lies(good))[kind])
    with pytest.raises(CollectionError, match=r"not a readable zip|overlap"):
        collect(tmp_path / "a.zip", tmp_path)


def test_folders_without_end_and_long_names_are_refused(tmp_path: Path) -> None:
    deep = tmp_path / "photos" / "dandelion"
    deep.mkdir(parents=True)
    for _ in range(40):
        deep = deep / "a"
        deep.mkdir()
    (tmp_path / "photos" / ("n" * 210)).mkdir()
    (tmp_path / "photos" / ("n" * 210) / "a.jpg").write_bytes(jpeg())
    plan = plan_intake(open_source(tmp_path / "photos", Wishes()), _Nobody(), Collection(tmp_path / "c"), "Kim")
    assert {r.why.split(" ")[0] for r in plan.refused} == {"lies", "names"} and not plan.to_add


def test_a_folder_to_measure_is_not_followed_without_end(tmp_path: Path) -> None:
    top = tmp_path / "photos"
    deep = top / "/".join(["dandelion"] + ["a"] * 700)
    here = top
    for part in deep.relative_to(top).parts:  # by steps: one call would have to be deeper than Python lets it
        here = here / part
        here.mkdir(parents=True)
    (deep / "a.jpg").write_bytes(jpeg())
    with pytest.raises(CollectionError, match="lies 30 folders deep; move it up"):
        read_labelled(top, _Nobody())
    (top / "dandelion" / "a.jpg").write_bytes(jpeg())
    (top / "loop").symlink_to(top)
    shutil.rmtree(top / "dandelion" / "a")
    (top / "dandelion" / "b.jpg").symlink_to(top / "dandelion" / "a.jpg")
    assert photos_below(top) == [top / "dandelion" / "a.jpg", top / "dandelion" / "b.jpg"]


class _Nobody:
    def look_up(self, text: str) -> None:
        return None


def test_a_table_of_too_many_rows_or_with_long_cells_is_a_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(manifest, "MOST_PHOTOS", 100)
    head = ",".join(COLUMNS) + "\n"
    for body in (
        "a.jpg,x,,,,\n" * 101,
        "a.jpg," + "x" * 300 + ",,,,\n",
        "a.jpg\n",
        '"' + "x" * 200_000 + '"\n',
        "a\0,x,,,,\n",
    ):
        (tmp_path / "manifest.csv").write_text(head + body)
        with pytest.raises(CollectionError, match=r"manifest\.csv"):
            read_manifest(tmp_path)
    (tmp_path / "manifest.csv").write_bytes(head.encode() + b"\xe9\n")
    with pytest.raises(CollectionError, match="UTF-8"):
        read_manifest(tmp_path)


def test_a_photo_that_a_table_names_again_is_not_looked_at_again(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(jpeg())
    (tmp_path / "t.csv").write_text("photo,species\n" + "a.jpg,dandelion\n./a.jpg,capeweed\n")
    found = list(open_source(tmp_path / "t.csv", Wishes()).offers())
    assert isinstance(found[1], Refusal) and "is in row 2 already" in found[1].why


# YAML


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("a: &a x\nb: *a\n", "reference"),
        ("a: !!python/object/apply:os.system [id]\n", "a tag"),
        ("a: !!timestamp x\n", "a tag"),
        ("a: " + "{a: " * 50, "nested too deeply"),
        ("a: 2026-13-45\n", "an impossible value"),
        ("a: " + "59:" * 3000 + "59\n", "a number that is too long"),
        ("a: x\n" * 300_000, "is over 1 MB, too large"),
    ],
)
def test_yaml_that_is_more_than_values_is_refused(tmp_path: Path, text: str, says: str) -> None:
    (tmp_path / "a.yaml").write_text(text)
    with pytest.raises(FloraError, match=says):
        read_yaml(tmp_path / "a.yaml")


def test_yaml_with_a_mark_of_its_encoding_is_read(tmp_path: Path) -> None:
    (tmp_path / "a.yaml").write_bytes(b"\xef\xbb\xbfa: b\n")
    assert read_yaml(tmp_path / "a.yaml") == {"a": "b"}


def test_a_number_that_is_too_large_is_a_sentence(key: Key) -> None:
    with pytest.raises(AnswerError, match="that number cm is outside"):
        check_answer(key.flora.characters["plant_height"], int("9" * 400))


@pytest.mark.parametrize(("name", "text"), [("../x", ""), ("a b", ""), ("rosa_x", 'common_names: ["\\e[2J"]\n')])
def test_a_species_of_ones_own_has_an_id_and_names_that_can_be_printed(tmp_path: Path, name: str, text: str) -> None:
    file = tmp_path / f"{name.replace('/', ' ')}.yaml"
    file.write_text(text or "common_names: [x]\n")
    with pytest.raises(CollectionError, match=r"not a species id|cannot be printed"):
        read_own(tmp_path)


# Addresses


def test_a_plan_names_the_servers_that_photos_lie_on(tmp_path: Path, key: Key) -> None:
    media = [medium("1", f"http://{host}.example/{n}.jpg") for n, host in enumerate(("one", "one", "two"))]
    path = pack(tmp_path / "a.zip", [occurrence("1", "Taraxacum officinale")], media)
    names = Names(key.flora)
    plan = plan_intake(open_source(path, Wishes()), names, Collection(tmp_path / "c"), "Kim")
    assert plan.hosts == {"one.example": 2, "two.example": 1}
    assert "to be fetched from one.example: 2 photos" in str(plan)


@pytest.mark.parametrize("place", ["::127.0.0.1", "fec0::1", "192.0.0.8", "64:ff9b:1::1", "4000::1"])
def test_addresses_that_are_given_to_nobody_are_not_public(place: str) -> None:
    assert not is_public(place)
