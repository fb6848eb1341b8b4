"""No file of facts, wherever it lies, claims more than its sources bear."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from model.errors import FloraError
from model.flora.load import CONFIGS, load_sources
from model.flora.source import check_facts, cite, facts_in
from model.flora.species import Fact
from model.mix.doubt import load_mix_facts
from model.spray import load_rules
from model.spray.warmth import load_warmth
from training.audit import load_settings
from training.drawn.drawing import drawing_of
from training.gate import load_rules as load_gate

LOADERS: dict[str, Callable[[Path], Any]] = {
    "mix.yaml": load_mix_facts,
    "spray.yaml": load_rules,
    "warmth.yaml": load_warmth,
    "gate.yaml": load_gate,
    "audit.yaml": load_settings,
}


def changed(name: str, old: str, new: str, folder: Path) -> Path:
    """A folder with the file, changed in one place, and the sources beside it."""
    shutil.copy(CONFIGS / "sources.yaml", folder)
    text = (CONFIGS / name).read_text(encoding="utf-8")
    assert re.search(old, text), old
    (folder / name).write_text(re.sub(old, new, text, count=1), encoding="utf-8")
    return folder


@pytest.mark.parametrize("name", LOADERS)
def test_a_source_that_is_not_listed_is_named(name: str, tmp_path: Path) -> None:
    folder = changed(name, r"source: \[", "source: [NOBODY, ", tmp_path)
    with pytest.raises(FloraError, match=rf"{name}: .*source NOBODY is not in sources.yaml"):
        LOADERS[name](folder)


@pytest.mark.parametrize("name", ["mix.yaml", "spray.yaml", "gate.yaml"])
def test_a_file_that_claims_more_than_its_sources_bear_is_refused(name: str, tmp_path: Path) -> None:
    folder = changed(
        name,
        r"source: \[(CP|MEM)\],\s+standing: (common practice|from memory)",
        r"source: [\1], standing: published",
        tmp_path,
    )
    with pytest.raises(FloraError, match=rf"{name}: .* says published, but none of its sources"):
        LOADERS[name](folder)


def test_drawings_are_sourced_too() -> None:
    sources = load_sources()
    files = sorted((CONFIGS / "drawing").glob("*.yaml"))
    assert len(files) > 50
    for path in files:
        check_facts(path, drawing_of(path.stem), sources)


def test_facts_are_found_however_deep_and_cited_once() -> None:
    fact = Fact(source=["CP"], standing="common practice")
    found = list(facts_in({"one": [{"two": fact}], "three": fact}))
    assert [where for where, _ in found] == [("one", "1", "two"), ("three",)]
    assert cite(load_sources(), fact, fact) == "common practice, no source"
