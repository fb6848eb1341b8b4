"""A store that is prepared once, worked on again and again, and looked at after whatever befell it."""

from __future__ import annotations

import shutil
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.security.fault_stores import Store, chain
from tests.security.forked import Ended, ask, prepared, run

HEAD = ("store", "fault", "runs", "as before", "as after", "some of several", "half done", "signed lost", "tracebacks")


@dataclass
class Tally:
    """One line of the table; ``broken`` says how a promise was broken."""

    store: str
    fault: str
    runs: int = 0
    before: int = 0
    after: int = 0
    some: int = 0
    half_done: int = 0
    signed_lost: int = 0
    tracebacks: int = 0
    broken: list[str] = field(default_factory=list)

    def cells(self) -> tuple[str, ...]:
        """The line."""
        counts = (self.runs, self.before, self.after, self.some, self.half_done, self.signed_lost, self.tracebacks)
        return (self.store, self.fault, *map(str, counts))


class Bench:
    """A store that is prepared once; every run begins with a copy of that home."""

    def __init__(self, store: Store, top: Path) -> None:
        self.store, self.top = store, top
        self.template, self.home = top / "template", top / "home"
        prepared(self.template, store.prepare)
        self.signed = ask(self.template, chain)
        self.fresh()
        self.before = ask(self.home, store.state)
        undisturbed = run(self.home, store.work)
        assert undisturbed.status == 0, undisturbed.err
        self.points, self.seconds = undisturbed.points, undisturbed.seconds
        self.after = ask(self.home, store.state)
        assert self.after != self.before, f"{store.name}: this work changes nothing"

    def fresh(self) -> Path:
        """The home as it was prepared."""
        if self.home.exists():
            shutil.rmtree(self.home)
        shutil.copytree(self.template, self.home)
        return self.home

    def look(self, tally: Tally, ended: Ended, where: str) -> None:
        """Note what ``ended`` left, and whether the tool works on."""
        tally.runs += 1
        tally.tracebacks += ended.tracebacks if not ended.killed else 0
        if not ended.killed and not ended.in_a_sentence:
            tally.broken.append(f"{where}: {ended.err[-1500:]}{ended.fault(self.home)}")
        try:
            found = ask(self.home, self.store.state)
            if self._place(tally, found):
                tally.half_done += 1
                tally.broken.append(f"{where}: half done: {found}"[:1500])
            elif ended.status == 0 and found != self.after and not self.store.optional:
                tally.broken.append(f"{where}: said to be done, and is not")
            elif ended.status == 2 and found == self.after and "goes on with it" not in ended.err:
                tally.broken.append(f"{where}: said not to be done, and is: {ended.err}")
            kept = self._works_on(tally, found, where)
        except AssertionError as error:
            tally.half_done += 1
            tally.broken.append(f"{where}: {error}"[:1500])
            kept = ask(self.home, chain)
        if kept[: len(self.signed)] != self.signed:
            tally.signed_lost += 1
            tally.broken.append(f"{where}: signed rows are lost")

    def _place(self, tally: Tally, found: Any) -> bool:
        if found == self.before:
            tally.before += 1
        elif found == self.after:
            tally.after += 1
        elif self._some(found):
            tally.some += 1
        else:
            return True
        return False

    def _some(self, found: Any) -> bool:
        """Whether each of several steps is as before or as after."""
        if isinstance(found, int):
            return bool(self.before <= found and not (isinstance(self.after, int) and found > self.after))
        if not self.store.parts:
            return False
        return all(part in found for part in self.before) and all(part in self.after for part in found)

    def _works_on(self, tally: Tally, found: Any, where: str) -> list[str]:
        """The same work once more succeeds, or says in a sentence that it was done; what is signed then."""
        more = run(self.home, self.store.work)
        now, signed = ask(self.home, lambda home: [self.store.state(home), chain(home)])
        done = found == self.after
        tally.tracebacks += more.tracebacks
        if not more.in_a_sentence or (not done and more.status):
            tally.broken.append(f"{where}: afterwards: {more.err[-1500:]}{more.fault(self.home)}")
        elif now != self.after and not (done and not self.store.again):
            tally.broken.append(f"{where}: the same work once more ends elsewhere: {now}"[:1500])
        return signed  # type: ignore[no-any-return]
