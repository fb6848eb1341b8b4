"""No file of facts, wherever it lies, claims more than its sources bear."""

from __future__ import annotations

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
from training.promote import load_rules as load_gate

LOADERS: dict[str, Callable[[Path], Any]] = {
    "mix.yaml": load_mix_facts,
    "spray.yaml": load_rules,
    "warmth.yaml": load_warmth,
    "gate.yaml": load_gate,
    "audit.yaml": load_settings,
}


@pytest.mark.parametrize("name", LOADERS)
def test_a_file_that_claims_to_be_published_without_a_published_source_is_refused(name: str, tmp_path: Path) -> None:
    configs = tmp_path / "configs"
    configs.mkdir()
    for file in (name, "sources.yaml"):
        shutil.copy(CONFIGS / file, configs / file)
    text = (configs / name).read_text(encoding="utf-8")
    # The first fact that has no published source is said to be published.
    weak = next(line for line in text.splitlines() if "[CP]" in line or "[MEM]" in line)
    strong = weak.replace("common practice", "published").replace("from memory", "published")
    if strong == weak:  # the standing is on the line below
        text = text.replace(weak, weak.replace("[CP]", "[NOBODY]").replace("[MEM]", "[NOBODY]"), 1)
    else:
        text = text.replace(weak, strong, 1)
    (configs / name).write_text(text, encoding="utf-8")
    with pytest.raises(FloraError, match=r"says published, but none of its sources|NOBODY is not in sources"):
        LOADERS[name](configs)


def test_drawings_are_sourced_too() -> None:
    sources = load_sources()
    files = sorted((CONFIGS / "drawing").glob("*.yaml"))
    assert len(files) > 50
    for path in files:
        check_facts(path, drawing_of(path.stem), sources)


def test_facts_are_found_however_deep_and_cited_once() -> None:
    fact = Fact(source=["CP"], standing="common practice")
    found = list(facts_in({"one": [{"two": fact}], "three": fact}))
    assert [where for where, _ in found] == ["one.1.two", "three"]
    assert cite(load_sources(), fact, fact) == "common practice, no source"
