"""Whether another checkout of the project prints the same: for changes that must not change anything.

    git worktree add /tmp/before COMMIT
    python -m tests.claims.same_output /tmp/before [--photos ../shared/photos]

Every command of the list below is run in both checkouts, each with a user's folder of its own. Their output is
compared, of papers the text and of pictures and models the bytes. What differs is printed as a diff; the exit status
says whether anything did.
"""

from __future__ import annotations

import argparse
import contextlib
import difflib
import io
import json
import os
import re
import shlex
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
DANDELION = "sample_images/taraxacum_officinale_flowering_3.jpg"
TREATED = """products: [{name: as on the label, actives: "MCPA 340 g/L", groups: [4], rate: 1.50 mL/L, batch: "007"}]
gear: hand_spray
situation: home lawn
area_m2: 120
started: 08:10
finished: 08:40
weather: [{at: 08:10, temperature: 20, humidity: 60, wind_speed: 6, wind_direction: SE}]
"""
FORECAST = "time,temperature,humidity,wind,rain\n" + "".join(
    f"2026-06-02 {h:02d}:00,{8 + h % 12},{90 - 2 * h},{4 + h % 9},{0.4 if h > 19 else 0}\n" for h in range(24)
)
DAYS = "date,max,min\n" + "".join(f"2026-08-{d:02d},{15 + d % 7},{4 + d % 5}\n" for d in range(1, 31))
# One line a command; $OUT is a folder of the run. Those before the first blank line are also run with --json.
COMMANDS = f"""
identify {DANDELION} --answers sample_images/dandelion_answers.yaml
identify {DANDELION} --month 9
identify --answers sample_images/dandelion_answers.yaml --visible leaves --month 7 --region none
identify sample_images/plain_lawn_leaves_4.jpg sample_images/soliva_sessilis_leaves_4.jpg
advise bindii --month 7 --lawn buffalo
advise bindii --month 10 --lawn couch --stage seeding --state NSW --near pond --near pets --used 4
advise oxalis --month 6
advise couch --lawn couch --month 3
advise caltrop --month 1 --place paving --cover 60
advise nutgrass --month 12 --lawn kikuyu --state TAS
advise dandelion catsear --month 8 --lawn tall_fescue
year bindii dandelion --month 7
window --temperature 20 --humidity 55 --wind 8 --rain-in 12 --hour 10 --active MCPA
window --temperature 31 --humidity 25 --wind 17 --active bromoxynil --active MCPA --lawn buffalo --state VIC --month 11
window --forecast $OUT/forecast.csv --active glyphosate --place bed --month 6 --state NSW
degree-days $OUT/days.csv --base 10 --weed crabgrass
mix output --litres 5 --area 100
mix output --flow 1.2 --speed 4 --swath 1
mix tank --tank 10 --output 200 --rate "5 L/ha" --area 120
mix spot --volume 10 --rate "10 mL/L"
mix granule --area 50 --rate "16 g/m2" --active 2
mix nitrogen --analysis 14-0-0 --rate "35 g/m2" --area 50
mix nitrogen --analysis 14-0-0 --want 150 --area 50
key --month 6
label read "imazapic" --lawn queensland_blue_couch --number 12345 --by Kim --on 2026-06-01
label list
advise nutgrass --month 1 --lawn queensland_blue_couch
records clients --add "A. Wattle" --phone 0000
records sites --client 1 --add "1 Low Street" --state VIC --lawn couch --near pets
records visits --site 1 --add Kim --day 2026-06-01
finding
records treat 1 $OUT/treated.yaml
records due --add "look again" --site 1 --day 2026-06-12
records due --day 2026-06-13
records show site 1
records show treatment 1
records search wattle
records check
slips
collect list
models
draw dandelion --seed 3 --out $OUT/drawn.png

print advice bindii --month 7 --lawn buffalo --out $OUT/advice.pdf
print advice oxalis --month 6 --out $OUT/shortlist.pdf
print job --visit 1 --out $OUT/job.pdf
print advice --visit 1 --out $OUT/visit.pdf
print record 1 --out $OUT/record.pdf
print calendar --out $OUT/due.ics
print csv treatments --out $OUT/record.csv
print findings --licence CC0 --out $OUT/findings.zip
key --pdf $OUT/key.pdf
year bindii --figure $OUT/year.svg
advise nosuch --month 5
advise bindii --month 13
mix tank --tank 0 --output 200 --rate "5 L/ha"
window --temperature 20
records show visit 99
"""
WITH_PHOTOS = """
collect add $OUT/few
collect check
measure $OUT/few
train --recipe quick
models
"""
EACH = 8  # photos of a species in the small collection


def lines(photos: Path | None) -> Iterator[list[str]]:
    """The commands, those of the first part twice: for a person, and as JSON."""
    first, second = COMMANDS.strip().split("\n\n")
    for line in first.splitlines():
        words = shlex.split(line)
        yield words
        if "--add" not in words and words[:2] not in (["finding"], ["records", "treat"], ["label", "read"]):
            yield [*words, "--json"]
    yield from (shlex.split(line) for line in second.splitlines())
    if photos is not None:
        yield from ([*shlex.split(line), "--json"] for line in WITH_PHOTOS.strip().splitlines())


def run_all(out: Path, photos: Path | None) -> None:
    """Run every command in this checkout; what each printed goes to a file of ``out``."""
    from app.command_line import main

    made = out / "made"
    made.mkdir(parents=True)
    os.environ.update(SWARDKEY_HOME=str(out / "home"), COLUMNS="100", TZ="Australia/Sydney")
    for name, text in (("forecast.csv", FORECAST), ("days.csv", DAYS), ("treated.yaml", TREATED)):
        (made / name).write_text(text, encoding="utf-8")
    if photos is not None:
        _few(photos, made / "few")
    for number, words in enumerate(lines(photos)):
        given = [word.replace("$OUT", str(made)) for word in words]
        said = io.StringIO()
        with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
            try:
                main(given) if words != ["finding"] else _add_finding()
            except SystemExit as end:
                said.write(f"status {end.code}\n")
        text = said.getvalue().replace(str(out), "$OUT")
        (out / f"{number:03d}.txt").write_text(f"{' '.join(words)}\n{_even(text)}", encoding="utf-8")
    for file in sorted(made.glob("*.*")):
        (out / f"made-{file.name}.txt").write_text(_content(file), encoding="utf-8")


def _add_finding() -> None:
    """What no command can do yet: a visit with a name."""
    from app.records import KeptFinding, open_records

    with open_records() as records:
        records.add_finding(KeptFinding(1, {}, "confirmed", "soliva_sessilis", 0.97, {"seed_wings": ["broad"]}))


def _few(photos: Path, folder: Path) -> None:
    """A small collection: some photos of a few species."""
    for species in ("taraxacum_officinale", "trifolium_repens", "stellaria_media"):
        (folder / species).mkdir(parents=True)
        for file in sorted((photos / species).glob("*.jpg"))[:EACH]:
            (folder / species / file.name).write_bytes(file.read_bytes())


def _even(text: str) -> str:
    """JSON over several lines, so that a diff says what differs; times and random names left out."""
    with contextlib.suppress(ValueError):
        body, _, status = text.partition("\nstatus")
        text = f"{json.dumps(json.loads(body), indent=1, ensure_ascii=False)}\nstatus{status}"
    return re.sub(r"20\d\d-\d\d-\d\dT[\d:.+Z-]+|\d{8}T\d{6}\w*|[0-9a-f]{32}@", "TIME", text)


def _content(file: Path) -> str:
    if file.suffix == ".pdf":
        from pypdf import PdfReader

        return "\n".join(page.extract_text() for page in PdfReader(file).pages)
    if file.suffix in (".svg", ".csv", ".ics", ".yaml"):
        return _even(file.read_text(encoding="utf-8"))
    import hashlib

    return hashlib.sha256(file.read_bytes()).hexdigest()


def outputs_of(checkout: Path, out: Path, photos: Path | None) -> dict[str, list[str]]:
    """What the commands print in a checkout, by file."""
    code = "import sys, runpy; sys.path.insert(0, '.'); runpy.run_path(sys.argv[1], run_name='run')['run_all']("
    code += "__import__('pathlib').Path(sys.argv[2]), __import__('pathlib').Path(sys.argv[3]) if sys.argv[3] else None)"
    command = [sys.executable, "-c", code, str(Path(__file__).resolve()), str(out), str(photos or "")]
    subprocess.run(command, cwd=checkout, check=True)
    return {file.name: file.read_text(encoding="utf-8").splitlines() for file in sorted(out.glob("*.txt"))}


def main() -> int:
    """Print what differs; 1 if anything does."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("before", type=Path)
    parser.add_argument("--photos", type=lambda text: Path(text).resolve(), default=None)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        before = outputs_of(given.before.resolve(), Path(folder) / "before", given.photos)
        now = outputs_of(ROOT, Path(folder) / "now", given.photos)
    differ = 0
    for name in sorted(before | now):
        diff = list(difflib.unified_diff(before.get(name, []), now.get(name, []), "before", "now", lineterm="", n=1))
        if diff:
            differ += 1
            print(f"== {name}: {before.get(name, now.get(name, ['']))[0]}", *diff, sep="\n")
    print(f"{len(before | now)} outputs, {differ} differ")
    return int(differ > 0)


if __name__ == "__main__":
    sys.exit(main())
