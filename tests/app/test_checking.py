"""`collect check` on a small collection: report, sheet, decisions, and doing what was decided."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

import training.features
from app.command_line import main
from tests.training.test_audit import picture


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as ended:
        main(["collect", *arguments])
    out, err = capsys.readouterr()
    return int(ended.value.code or 0), out, err


def test_a_collection_is_checked_and_decisions_are_done(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    source = tmp_path / "source"
    for place, label in enumerate(("poa_annua", "bellis_perennis")):
        (source / label).mkdir(parents=True)
        for i in range(6):
            picture(10 * place + i).save(source / label / f"{i}.png")
    # The same picture under both names.
    picture(0).save(source / "bellis_perennis" / "again.png")
    assert run(capsys, "add", str(source), "--yes")[0] == 0

    def made_up(photos: list, *_: object) -> tuple[np.ndarray, list[str]]:
        centres = {"poa_annua": 0.0, "bellis_perennis": 1.0}
        rows = [np.random.default_rng(i).normal(centres[p.label], 0.3, 60) for i, p in enumerate(photos)]
        return np.stack(rows), [""] * len(photos)

    monkeypatch.setattr(training.features, "features_of", made_up)
    sheet, decisions = tmp_path / "sheet.html", tmp_path / "decide.csv"
    status, out, _ = run(capsys, "check", "--sheet", str(sheet), "--decisions", str(decisions), "--json")
    assert status == 0
    found = json.loads(out)
    assert found["photos"] == 12 or found["photos"] == 13
    assert sheet.exists() and decisions.exists()
    assert run(capsys, "check")[0] == 0
    rows = decisions.read_text(encoding="utf-8").splitlines()
    if len(rows) > 1:
        decisions.write_text("\n".join([rows[0], rows[1] + "drop"]) + "\n", encoding="utf-8")
        status, out, _ = run(capsys, "check", "--decisions", str(decisions), "--apply", "--by", "tester")
        assert status == 0 and "1 dropped" in out
    status, _, err = run(capsys, "check", "--apply")
    assert status == 2 and "--decisions" in err


def test_an_empty_collection_is_said(capsys: pytest.CaptureFixture[str]) -> None:
    status, _, err = run(capsys, "check")
    assert status == 2 and "holds no photos" in err
