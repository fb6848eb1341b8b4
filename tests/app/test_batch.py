"""Naming a folder: a row a photo, the same rows however the work is shared, stopped or gone on with."""

from __future__ import annotations

import csv
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from app.commands import identify_folder as batch
from app.commands.folder_table import COLUMNS, UNREADABLE, Named, Sheet, shown
from app.commands.identify_folder import Job, Share, identify_folder, photos_in
from model.errors import SwardkeyError

ROOT = Path(__file__).resolve().parents[2]
SAMPLES = sorted((ROOT / "sample_images").glob("*.jpg"))[:3]
CODE = """
import sys
from pathlib import Path
from app.commands.identify_folder import identify_folder
from model.errors import SwardkeyError
if __name__ == "__main__":
    try:
        identify_folder([Path(sys.argv[1])], out=Path(sys.argv[2]), workers=1)
    except SwardkeyError as error:
        sys.exit(f"swardkey: {error}")
    except KeyboardInterrupt:
        sys.exit(130)
"""


@pytest.fixture
def lot(tmp_path: Path) -> Path:
    """Three drawn photos, one in a folder, one called a formula; and what is no photo."""
    folder = tmp_path / "lot"
    (folder / "back yard").mkdir(parents=True)
    for sample, name in zip(SAMPLES, ("=1+1 \N{SEEDLING}.JPG", "back yard/b.jpg", "c.jpeg"), strict=True):
        shutil.copy(sample, folder / name)
    (folder / "empty.png").write_bytes(b"")
    (folder / "words.jpg").write_text("words")
    (folder / "notes.txt").write_text("no photo")
    (folder / ".thumbnails").mkdir()
    shutil.copy(SAMPLES[0], folder / ".thumbnails" / "x.jpg")
    return folder


NAMES = ["=1+1 \N{SEEDLING}.JPG", "back yard/b.jpg", "c.jpeg", "empty.png", "words.jpg"]


def a_row(name: str, model: str = "starter") -> Named:
    return Named(name, "likely", "poa_annua", 0.8, (("poa_annua", 0.9), ("soliva_sessilis", 0.1)), True, "", model)


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Rows without processes and without a photo model; the names that were asked for."""
    asked: list[str] = []

    def name_all(files: list[str], workers: int, folder: Path, model: str, *wishes: object) -> Iterator[Named]:
        for file in files:
            asked.append(file)
            yield a_row(file, model)

    monkeypatch.setattr(batch, "name_all", name_all)
    return asked


def test_processes_name_a_folder_as_identify_names_each_photo(lot: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from app.services.knowledge import load_key
    from app.services.photo_model import evidence_of
    from model.identify import identify
    from model.prior import region_named

    identify_folder([lot], month=10, as_json=True, workers=2)
    found = json.loads(capsys.readouterr().out)
    assert found["photos"] == 5 and [row["file"] for row in found["rows"]] == NAMES
    by_name = {row["file"]: row for row in found["rows"]}
    assert by_name["empty.png"] == {
        "file": "empty.png", "status": UNREADABLE, "species": None, "probability": None, "photo": [], "usable": False,
        "note": "is empty; copy the photo again", "model": "starter",
    }  # fmt: skip
    assert "is not a photo that can be read" in by_name["words.jpg"]["note"]
    key = load_key()
    for name in NAMES[:3]:
        row, evidence = by_name[name], evidence_of([lot / name])
        finding = identify(key, {}, evidence, 10, region_named(key.prior_config, None))
        assert (row["status"], row["species"]) == (finding.status, finding.species)
        assert row["probability"] == (finding.probability and pytest.approx(finding.probability, abs=1e-3))
        best = sorted(evidence.probabilities.items(), key=lambda item: -item[1])[:3]
        assert [choice["probability"] for choice in row["photo"]] == pytest.approx([p for _, p in best], abs=1e-3)
        assert row["photo"][0]["species"] == best[0][0] or best[0][1] < 0.01


def test_shares_are_disjoint_and_together_the_whole(tmp_path: Path) -> None:
    names = [f"yard {i % 7}/photo {i}.jpg" for i in range(400)]
    for name in names:
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).touch()
    for of in (1, 2, 8):
        shares = [photos_in(tmp_path, Share(number, of)) for number in range(1, of + 1)]
        assert sorted(name for share in shares for name in share) == sorted(names)
        assert min(map(len, shares)) > 400 / of / 2


def test_shares_are_the_same_on_other_machines_and_in_later_versions() -> None:
    assert [i for i in range(40) if Share(2, 8).holds(f"{i}.jpg")] == [1, 9, 16, 18, 30]


def test_a_share_does_not_depend_on_how_accents_are_written() -> None:
    for number in range(1, 9):
        assert Share(number, 8).holds("gr\u00fcn.jpg") == Share(number, 8).holds("gru\u0308n.jpg")


@pytest.mark.parametrize("text", ["0/8", "9/8", "2", "2/", "/8", "a/b", "-1/8", "2/8/1", "1/99999", "\u00b2/8", ""])
def test_what_is_no_share_is_refused(text: str) -> None:
    with pytest.raises(SwardkeyError, match="is not a share; give number/of"):
        Share.read(text)


def test_links_and_hidden_folders_are_not_followed(lot: Path) -> None:
    (lot / "loop").symlink_to(lot)
    assert photos_in(lot, Share()) == NAMES


def test_the_table_goes_on_where_it_was(lot: Path, quick: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    out = lot.parent / "named.csv"
    sheet = Sheet(out)
    for name in NAMES[:2]:
        sheet.add(a_row(name))
    with out.open("ab") as file:
        file.write(b"c.jpeg,likely,poa")  # killed while writing
    identify_folder([lot], out=out)
    assert quick == NAMES[2:]
    assert [row.file for row in Sheet(out).rows()] == NAMES
    assert "3 photos named, 2 before" in capsys.readouterr().out
    identify_folder([lot], out=out)
    assert len(quick) == 3


def test_stopped_it_keeps_what_is_done(
    lot: Path, quick: list[str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def stopped(files: list[str], workers: int, folder: Path, model: str, *wishes: object) -> Iterator[Named]:
        yield a_row(files[0])
        raise KeyboardInterrupt

    out = lot.parent / "named.csv"
    with monkeypatch.context() as patch:
        patch.setattr(batch, "name_all", stopped)
        with pytest.raises(KeyboardInterrupt):
            identify_folder([lot], out=out)
    assert "1 rows kept" in capsys.readouterr().err
    identify_folder([lot], out=out)
    assert [row.file for row in Sheet(out).rows()] == NAMES


def test_cells_are_no_formulas(lot: Path, quick: list[str]) -> None:
    out = lot.parent / "named.csv"
    identify_folder([lot], out=out)
    with out.open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    assert tuple(rows[0]) == COLUMNS
    assert rows[1][0] == "'=1+1 \N{SEEDLING}.JPG"
    assert next(Sheet(out).rows()).file == NAMES[0]


def test_another_photo_model_or_another_table_is_refused(lot: Path, quick: list[str]) -> None:
    out = lot.parent / "named.csv"
    Sheet(out).add(a_row("x.jpg", "20261125T000000Z-12345678"))
    with pytest.raises(SwardkeyError, match="was made with the photo model"):
        identify_folder([lot], out=out)
    for text in ("name,price\nmower,5\n", "a note without an end"):
        out.write_text(text)
        with pytest.raises(SwardkeyError):
            identify_folder([lot], out=out)
        assert out.read_text() == text
    assert quick == []


def test_what_does_not_go_together_is_refused_in_one_sentence(lot: Path, tmp_path: Path) -> None:
    (tmp_path / "none").mkdir()
    out = tmp_path / "a.csv"
    wrong = [
        lambda: identify_folder([]),
        lambda: identify_folder([lot, lot]),
        lambda: identify_folder([lot / "c.jpeg"], out=out),
        lambda: identify_folder([lot], answers=tmp_path / "a.yaml"),
        lambda: identify_folder([lot], visible="leaves"),
        lambda: identify_folder([lot], region="nowhere", out=out),
        lambda: identify_folder([lot], out=tmp_path / "a.xlsx"),
        lambda: identify_folder([tmp_path / "none"]),
    ]
    for ask in wrong:
        with pytest.raises(SwardkeyError) as error:
            ask()
        assert "\n" not in str(error.value) and ("; " in str(error.value) or str(error.value).startswith("name one"))
    assert not out.exists()


def test_few_photos_are_handed_out_at_a_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ten thousand names are not put in a queue at once."""
    handed, longest, done = 0, 0, 0

    class Pool:
        def __init__(self, *_: object) -> None: ...
        def __enter__(self) -> Pool:
            return self

        def __exit__(self, *_: object) -> None: ...
        def shutdown(self, **_: object) -> None: ...
        def submit(self, _: object, file: str) -> Row:
            nonlocal handed
            handed += 1
            return Row(file)

    class Row:
        def __init__(self, file: str) -> None:
            self.file = file

        def result(self) -> Named:
            return a_row(self.file)

    monkeypatch.setattr(batch, "ProcessPoolExecutor", Pool)
    for number, row in enumerate(batch.name_all((f"{i}.jpg" for i in range(10_000)), 3)):
        assert row.file == f"{number}.jpg"
        done += 1
        longest = max(longest, handed - done)
    assert done == 10_000 and longest <= 3 * batch.WAITING


def test_a_row_in_the_terminal() -> None:
    assert shown(a_row("a.jpg")) == "a.jpg  likely  poa_annua 80%"
    blurred = Named("b.jpg", "undecided", None, None, (("poa_annua", 0.6),), True, "blurred", "starter")
    assert shown(blurred) == "b.jpg  undecided  perhaps poa_annua 60%  blurred"
    assert (
        shown(Named("c.jpg", UNREADABLE, None, None, (), False, "is empty", "starter")) == "c.jpg  unreadable  is empty"
    )


@pytest.mark.skipif(
    sys.platform == "win32", reason="without signals no run is ended half-way, so a torn table of names goes unseen"
)
@pytest.mark.parametrize("sent", [signal.SIGINT, signal.SIGKILL])
def test_a_run_that_is_ended_leaves_whole_rows_and_no_process(tmp_path: Path, sent: signal.Signals) -> None:
    folder, out = tmp_path / "many", tmp_path / "named.csv"
    folder.mkdir()
    for i in range(60):
        shutil.copy(SAMPLES[i % 3], folder / f"{i:02}.jpg")
    command = [sys.executable, "-c", CODE, str(folder), str(out)]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    with subprocess.Popen(command, cwd=ROOT, env=environment, stderr=subprocess.PIPE, start_new_session=True) as run:
        started = time.monotonic()
        while not (out.exists() and out.read_bytes().count(b"\n") > 3):
            assert run.poll() is None and time.monotonic() - started < 120
            time.sleep(0.05)
        if sent == signal.SIGINT:
            os.killpg(run.pid, sent)  # as Ctrl-C does: to all
        else:
            run.kill()
        said = run.communicate(timeout=60)[1].decode()
    if sent == signal.SIGINT:
        assert run.returncode == 130
        assert "rows kept in" in said and "Traceback" not in said
    rows = [row.file for row in Sheet(out).rows()]
    assert rows == [f"{i:02}.jpg" for i in range(len(rows))] and 3 <= len(rows) < 60
    ended = time.monotonic()
    while _living(run.pid):
        assert time.monotonic() - ended < 20, "processes are left"
        time.sleep(0.1)


def _living(session: int) -> bool:
    try:
        os.killpg(session, 0)
    except (ProcessLookupError, PermissionError):
        return False
    return True


def test_a_job_with_nothing_left_starts_nothing(lot: Path, quick: list[str]) -> None:
    out = lot.parent / "named.csv"
    for name in NAMES:
        Sheet(out).add(a_row(name))
    assert Job(lot, out, Share(), None, None, 2).run(True, lambda row: None) == (0, 5)
    assert quick == []
