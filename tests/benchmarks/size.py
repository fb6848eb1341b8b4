"""What one install takes on the disk: by package, in all, and what naming and serving need at least."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from importlib.metadata import PackageNotFoundError, distribution, packages_distributions
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from tests.benchmarks.stopwatch import ROOT, table

OURS = ("app", "model", "training", "configs", "sample_images")
LARGEST = 12  # packages that are listed by name
# Imports what a way of use imports, and says which modules that were.
LOADS = {
    "identify, ask": "import app.present.identification",
    "serve": "import app.web.page",
}
LOOK = """
import app.command_line
import sys
from pathlib import Path
from app.services.knowledge import load_key
from app.services.photo_model import evidence_of

load_key()
evidence_of([Path(sys.argv[1])])
print(" ".join({name.partition(".")[0] for name in sys.modules}))
"""


@dataclass(frozen=True)
class SizeFigures:
    """Megabytes by package of the light install, what torch and its like add, and what each way of use needs."""

    whole: dict[str, float]
    added: float
    needed: dict[str, tuple[str, ...]]

    def __str__(self) -> str:
        largest = sorted(self.whole, key=lambda name: -self.whole[name])[:LARGEST]
        rest = sum(self.whole.values()) - sum(self.whole[name] for name in largest)
        rows = [[name, f"{self.whole[name]:.0f}", self._for(name)] for name in largest]
        rows.append([f"{len(self.whole) - len(largest)} others", f"{rest:.0f}", ""])
        rows.append(["all, with swardkey", f"{sum(self.whole.values()):.0f}", ""])
        rows.append(["what [full] adds", f"{self.added:.0f}", "train --recipe full"])
        for way in self.needed:
            rows.append([f"at least, for {way}", f"{self.least(way):.0f}", ""])
        return table(["on the disk", "MB", "needed for"], rows)

    def least(self, way: str) -> float:
        """Megabytes of the packages that a way of use needs, and those that they cannot be installed without."""
        return sum(self.whole.get(name, 0.0) for name in self.needed[way])

    def _for(self, name: str) -> str:
        return ", ".join(way for way, names in self.needed.items() if name in names) or "training and papers"


def size_figures(photo: Path) -> SizeFigures:
    """Weigh what is installed here of swardkey's dependencies, without those of its own tests."""
    told = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    whole = {name: _megabytes(name) for name in _closure(told["dependencies"])}
    added = sum(_megabytes(name) for name in _closure(told["optional-dependencies"]["full"]) if name not in whole)
    whole["swardkey"] = sum(f.stat().st_size for o in OURS for f in (ROOT / o).rglob("*") if f.is_file()) / 1e6
    owners = {module: {_plain(d) for d in names} for module, names in packages_distributions().items()}
    needed = {}
    for way, code in LOADS.items():
        command = [sys.executable, "-c", code + LOOK, str(photo)]
        modules = subprocess.run(command, cwd=ROOT, check=True, capture_output=True, text=True).stdout.split()
        loaded = {owner for module in modules for owner in owners.get(module, ()) if owner in whole}
        loaded.discard("swardkey")  # whose own list of what it needs is the whole
        needed[way] = ("swardkey", *sorted(loaded | set(_closure(loaded))))
    return SizeFigures(whole, added, needed)


def _plain(name: str) -> str:
    return str(canonicalize_name(name))


def _closure(wanted: Iterable[str]) -> list[str]:
    """Names of installed packages that these requirements bring along, each once."""
    found: dict[str, None] = {}
    left = [(Requirement(text), "") for text in wanted]
    seen = set()
    while left:
        need, extra = left.pop()
        name = _plain(need.name)
        if need.marker is not None and not need.marker.evaluate({"extra": extra}):
            continue
        for wish in ("", *need.extras):
            if (name, wish) not in seen:
                seen.add((name, wish))
                texts = _requires(name)
                if texts is not None:
                    found[name] = None
                    left += [(Requirement(text), wish) for text in texts]
    return list(found)


@cache
def _requires(name: str) -> list[str] | None:
    try:
        return list(distribution(name).requires or [])
    except PackageNotFoundError:  # not for this platform
        return None


def _megabytes(name: str) -> float:
    files = (Path(str(file.locate())) for file in distribution(name).files or ())
    return sum(file.stat().st_size for file in files if file.is_file()) / 1e6
