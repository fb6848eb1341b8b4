"""Many people at once on the path from photo to signed record: how long each step takes, and whether anything is lost.

``python -m tests.benchmarks.load [MINUTES] [PEOPLE]`` starts the real server, has that many people walk the path as the
page in a browser does, each with photo, answers and client of their own, and compares at the end what they were told
with what is kept. ``--identifications 2000`` names that many photos in a row in one process instead.
"""

from __future__ import annotations

import argparse
import os
import re
import tempfile
import threading
import time
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from statistics import median, quantiles
from typing import Any

import numpy as np

from model.flora.character import PARTS
from tests.claims.observer import SimulatedObserver
from tests.security.visitor import SAMPLES, FullError, Server, Visitor, served

FLAT = 50e6  # bytes that a server may grow by after its warm-up
FILES = 10  # open files more than before
MOST_QUESTIONS = 25
SPRAY = {"temperature": "22", "humidity": "60", "wind": "9", "hour": "11:00", "state": "NSW"}
MIX = {"tank": "10", "output": "400", "rate": "3 L/ha"}


@dataclass(frozen=True)
class Told:
    """What a person was told at the end of the path, and what was answered on it."""

    visit: int
    plant: str
    client: str
    answers: dict[str, Any]
    named: str


@dataclass
class Tally:
    """What all people met with."""

    seconds: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    told: list[Told] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)
    mixed: list[str] = field(default_factory=list)
    turned_away: int = 0
    lock: threading.Lock = field(default_factory=threading.Lock)

    @contextmanager
    def timed(self, step: str) -> Iterator[None]:
        begun = time.monotonic()
        yield
        with self.lock:
            self.seconds[step].append(time.monotonic() - begun)


@dataclass
class Person:
    """One who walks the path again and again until the time is up."""

    server: Server
    number: int
    tally: Tally
    observer: SimulatedObserver
    pause: float
    round: int = 0

    def walk_until(self, end: float) -> None:
        """Walk; what goes wrong is noted, and the walk begun anew."""
        while time.monotonic() < end:
            try:
                self.walk()
            except Exception as error:  # all that may go wrong is what is looked for
                with self.tally.lock:
                    self.tally.wrong.append(f"person {self.number}: {type(error).__name__}: {str(error)[:300]}")
            self.round += 1

    def walk(self) -> None:
        """From the photo to the signed record."""
        photos = sorted(SAMPLES.glob("*_flowering_*.jpg"))
        photos = [photo for photo in photos if photo.name.split("_flowering")[0] in self.observer.key.flora.species]
        photo = photos[(self.number * 7 + self.round) % len(photos)]
        client = f"Client {self.number:03}-{self.round:04}"
        with self.tally.timed("first page"):
            tab = Visitor(self.server)
        self.step("photo", tab, lambda: tab.send_files(photo))
        self.press(tab, "candidates", "look", month="11")
        self.press(tab, "question", "ask")
        self.press(tab, "question", "see", visible=PARTS)
        answers = self.answer(tab, photo.name.split("_flowering")[0])
        self.press(tab, "finding", "conclude")
        named = re.search(r"<h1[^>]*>([^<]*)</h1><p><em>([^<]*)", tab.text)
        if 'data-do="onward"' in tab.text:
            self.plan(tab)
        else:
            self.press(tab, "record", "to_record")
        self.press(
            tab, "keep", "keep", day="2026-11-25", who=client, client=client, address="1 Rill Street", state="NSW"
        )
        visit = re.search(r"/records\?visit=(\d+)", tab.text)
        assert visit is not None, f"not kept: {tab.title} {tab.faults}"
        self.press(tab, "sign", "sign_visit", who=client)
        assert "The visit is signed." in tab.text, f"not signed: {tab.faults}"
        with self.tally.lock:
            self.tally.told.append(Told(int(visit[1]), tab.plant, client, answers, named[2] if named else ""))

    def answer(self, tab: Visitor, species: str) -> dict[str, Any]:
        """Answer as one who sees the species, with a person's mistakes; what was answered."""
        random = np.random.default_rng([self.number, self.round])
        given: dict[str, Any] = {}
        for _ in range(MOST_QUESTIONS):
            name = tab.asked()
            if not name:
                break
            seen: Any = self.observer.answer(species, self.observer.key.flora.characters[name], random)
            if seen in ("unsure", (), [], None):
                given[name] = []
                self.press(tab, "question", "unsure", name)
            elif isinstance(seen, str | tuple | list):
                given[name] = [seen] if isinstance(seen, str) else list(seen)
                self.press(tab, "question", "answer", name, state=given[name])
            else:
                given[name] = float(f"{seen:.4g}")
                self.press(tab, "question", "answer", name, reading=f"{seen:.4g}")
        return given

    def plan(self, tab: Visitor) -> None:
        """The lawn, the plan, the window, a sum, and the paper for the homeowner."""
        self.press(tab, "lawn", "onward")
        self.press(tab, "plan", "make_plan", lawn="buffalo", place="lawn", month="11", cover="20", state="NSW")
        choices = re.findall(r'name="choice"[^>]* value="([^"]+)"', tab.text)
        spray = [choice for choice in choices if choice.startswith(("selective", "pre_emergent", "spot"))]
        if choices:
            self.press(tab, "choose", "choose", choice=(spray or choices)[0])
        if 'data-do="weigh"' in tab.text:
            self.press(tab, "window", "weigh", **SPRAY)
            self.press(tab, "sum", "sum", "tank", **MIX)
            assert "75 mL" in tab.text, f"no sum: {tab.faults}"
        if 'data-do="to_record"' in tab.text:  # what needs no sprayer leads there itself
            self.press(tab, "record", "to_record")
        with self.tally.timed("paper"):
            paper = tab.fetch(f"/paper/{tab.plant}/advice")
        assert paper.status == 200 and paper.body.startswith(b"%PDF-"), paper.text[:200]

    def press(self, tab: Visitor, step: str, do: str, which: str = "", **fields: str | Sequence[str]) -> None:
        """Press, look at the page and its pictures, and wait a little."""
        before = tab.plant
        self.step(step, tab, lambda: tab.press(do, which, **fields))
        others = {found for found in re.findall(r"(?:data-plant=\"|/photo/)([\w-]{22})", tab.text)} - {before}
        clients = set(re.findall(r"Client \d{3}-\d{4}", tab.text if step == "sign" else ""))
        if others or clients - {f"Client {self.number:03}-{self.round:04}"}:
            with self.tally.lock:
                self.tally.mixed.append(f"person {self.number} at {step} saw {others} {clients}")
        for picture in re.findall(r'src="(/photo/[^"]+)"', tab.text):
            assert tab.fetch(picture).status == 200, picture
        time.sleep(self.pause)

    def step(self, step: str, tab: Visitor, do: Callable[[], Any]) -> None:
        """One step, timed with the waits of one who was told to come again."""
        with self.tally.timed(step):
            for _ in range(100):
                try:
                    do()
                    break
                except FullError:
                    with self.tally.lock:
                        self.tally.turned_away += 1
                    time.sleep(1)
        assert not tab.faults, f"{step}: {tab.faults}"


def check_kept(tally: Tally, home: Path) -> list[str]:
    """What of the records is not as the people were told; also what is signed and nobody was told of."""
    from app.records import open_records

    os.environ["SWARDKEY_HOME"] = str(home)
    wrong = []
    with open_records() as records:
        for told in tally.told:
            current = records.current("visit", told.visit)
            kept: Any = current.record
            finding = kept.findings[0]
            answers = {name: _as_answered(answer) for name, answer in finding.answers.items()}
            faults = {
                "not signed": not current.is_signed or current.chain[-1].signed_by != told.client,
                "another client": kept.client.name != told.client or kept.visit.who != told.client,
                "other answers": answers != {name: _as_answered(answer) for name, answer in told.answers.items()},
                "no photo": len(kept.photos) != 1,
                "its draft leads elsewhere": records.draft(told.plant).visit != told.visit,
            }
            wrong += [f"visit {told.visit}: {fault}" for fault, is_so in faults.items() if is_so]
        signed = sum(records.current("visit", visit.id).is_signed for visit in records.visits())
    if signed != len(tally.told):
        wrong.append(f"{signed} visits are signed, {len(tally.told)} were told")
    return wrong


def _as_answered(answer: Any) -> Any:
    """An answer as two of them are compared: several states that a plant shows have no order."""
    return sorted(answer) if isinstance(answer, list | tuple) else float(answer)


@dataclass
class Weights:
    """Memory and open files of a process over time; empty where the system does not tell."""

    process: int
    bytes: list[float] = field(default_factory=list)
    files: list[int] = field(default_factory=list)

    def take(self) -> None:
        try:
            status = Path(f"/proc/{self.process}/status").read_text(encoding="ascii")
            self.files.append(sum(1 for _ in Path(f"/proc/{self.process}/fd").iterdir()))
        except OSError:
            return
        self.bytes.append(1024.0 * int(re.search(r"VmRSS:\s+(\d+)", status)[1]))  # type: ignore[index]

    def take_until(self, done: threading.Event) -> None:
        while not done.wait(1):
            self.take()

    def growth(self, warm: float) -> float:
        """Bytes more at the end than after the share ``warm`` of the time; medians over a twentieth of it."""
        few = max(1, len(self.bytes) // 20)
        begun = int(len(self.bytes) * warm)
        return median(self.bytes[-few:]) - median(self.bytes[begun : begun + few]) if self.bytes else 0.0


def run(minutes: float, people: int, pause: float, work: Path) -> tuple[Tally, Weights, list[str]]:
    """The whole run: the people, the weights of the server, and what is not as it was told."""
    from model.identify import Key

    observer, tally = SimulatedObserver(Key()), Tally()
    with served(work / "home") as server:
        Person(server, 999, tally, observer, 0.0).walk()  # once through, so that all is loaded
        tally.seconds.clear()
        weights = Weights(server.process.pid)
        weights.take()
        done, end = threading.Event(), time.monotonic() + 60 * minutes
        threading.Thread(target=weights.take_until, args=(done,), daemon=True).start()
        walking = [
            threading.Thread(target=Person(server, n, tally, observer, pause).walk_until, args=(end,), daemon=True)
            for n in range(people)
        ]
        for thread in walking:
            thread.start()
        for thread in walking:
            thread.join()
        time.sleep(5)  # all have left
        done.set()
        weights.take()
        faults = [file.read_text(encoding="utf-8")[-300:] for file in (work / "home" / "faults").glob("*.txt")]
        log = (work / "home" / "serve.log").read_text(encoding="utf-8")
    tally.wrong += faults + ([f"the log: {log[-300:]}"] if "Traceback" in log else [])
    return tally, weights, check_kept(tally, work / "home")


def print_run(tally: Tally, weights: Weights, wrong: list[str], warm: float) -> bool:
    """The table, and whether all that was promised held."""
    print(f"{'step':12} {'times':>6} {'p50 s':>7} {'p95 s':>7} {'most s':>7}")
    for step, seconds in tally.seconds.items():
        cuts = quantiles(seconds, n=20) if len(seconds) > 1 else seconds * 19
        print(f"{step:12} {len(seconds):6} {median(seconds):7.2f} {cuts[18]:7.2f} {max(seconds):7.2f}")
    growth, files = weights.growth(warm) if weights.bytes else 0.0, 0
    if weights.files:
        files = weights.files[-1] - weights.files[0]
        print(f"memory {weights.bytes[-1] / 1e6:.0f} MB, {growth / 1e6:+.0f} MB after the first {warm:.0%} of the time")
        print(f"open files {weights.files[0]} before, at most {max(weights.files)}, {weights.files[-1]} after")
    print(f"records told as signed {len(tally.told)}, lost or otherwise kept {len(wrong)}")
    print(f"answers mixed {len(tally.mixed)}")
    print(f"asked to come again {tally.turned_away}")
    print(
        f"went wrong {len(tally.wrong)}", *Counter(tally.wrong).most_common(5), *wrong[:5], *tally.mixed[:5], sep="\n"
    )
    return not (wrong or tally.mixed or tally.wrong) and growth < FLAT and files < FILES and bool(tally.told)


def identify_many(count: int) -> bool:
    """Name photos in a row, as the command line does; memory and open files; whether both stay as they are."""
    from app.services.photo_model import evidence_of
    from model.identify import Key, identify

    key, photos, weights = Key(), sorted(SAMPLES.glob("*.jpg")), Weights(os.getpid())
    begun, said = time.monotonic(), {}
    for number in range(count):
        photo = photos[number % len(photos)]
        told = identify(key, {}, evidence_of([photo])).as_json()
        assert said.setdefault(photo, told) == told, f"{photo.name} is named otherwise than before"
        weights.take()
    spent = time.monotonic() - begun
    growth = weights.growth(0.1)
    files = weights.files[-1] - weights.files[len(weights.files) // 10] if weights.files else 0
    print(
        f"{count} identifications of {len(photos)} photos in {spent:.0f} s, {spent / count:.3f} s each; all as at first"
    )
    print(
        f"memory {weights.bytes[-1] / 1e6:.0f} MB, {growth / 1e6:+.1f} MB after the first tenth; open files {files:+}"
    )
    return growth < FLAT and files < FILES


def main() -> None:
    """The whole run, or many identifications."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("minutes", type=float, nargs="?", default=10)
    asked.add_argument("people", type=int, nargs="?", default=20)
    asked.add_argument("--pause", type=float, default=1.0, help="seconds that a person looks at a page")
    asked.add_argument("--identifications", type=int, default=0)
    given = asked.parse_args()
    if given.identifications:
        raise SystemExit(not identify_many(given.identifications))
    print(f"{given.people} people, {given.minutes:g} minutes, {os.cpu_count()} cores", flush=True)
    with tempfile.TemporaryDirectory() as name:
        tally, weights, wrong = run(given.minutes, given.people, given.pause, Path(name))
    raise SystemExit(not print_run(tally, weights, wrong, 0.25))


if __name__ == "__main__":
    main()
