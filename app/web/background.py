"""One long piece of work at a time, beside the pages: how far it is, how long it still takes, what it came to."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from app.services.home import refused_by_disk
from app.web.faults import write_fault
from app.web.frame import FormError, for_pages
from model.errors import SwardkeyError

Tell = Callable[[str, int, int], None]  # the stage, how much of it is done, and how much it is; 0 where not known
WAIT = 8.0  # seconds of a stage before it says how long it still takes


class Stopped(Exception):  # noqa: N818 - a person's wish, not a fault
    """Raised inside a piece of work where it tells its progress, once a person has stopped it."""


@dataclass(frozen=True)
class State:
    """How a piece of work stands.

    ``spent``: seconds since it began; ``left``: seconds that its stage still takes, None where that is not known yet.
    ``resume``: the button and the fields of its form that go on where it was stopped; empty where it begins anew.
    """

    name: str = ""
    stage: str = ""
    done: int = 0
    total: int = 0
    spent: float = 0.0
    left: float | None = None
    running: bool = False
    stopping: bool = False
    stopped: bool = False
    fault: str = ""
    result: Any = None
    resume: Mapping[str, str] = field(default_factory=dict)


class Work:
    """Runs one piece of work in a thread of its own; any page may look at how it stands."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._state = State()
        self._begun = self._stage_begun = 0.0

    @property
    def state(self) -> State:
        """How it stands now."""
        found = self._state
        if not found.running:
            return found
        now = time.monotonic()
        spent = now - self._stage_begun
        known = 0 < found.done < found.total and spent > WAIT
        left = spent / found.done * (found.total - found.done) if known else None
        return replace(found, spent=now - self._begun, left=left)

    def start(self, name: str, run: Callable[[Tell], Any], resume: Mapping[str, str] | None = None) -> None:
        """Begin; ``run`` is given how to tell its progress. Raises FormError while something is running."""
        with self._lock:
            if self._state.running:
                raise FormError(f"{self._state.name} is running; wait until it is done, or stop it.")
            self._state = State(name, running=True, resume=resume or {})
            self._begun = self._stage_begun = time.monotonic()
        threading.Thread(target=self._run, args=(run,), daemon=True).start()

    def stop(self) -> None:
        """Let it end where it next tells its progress."""
        with self._lock:
            if self._state.running:
                self._state = replace(self._state, stopping=True)

    def clear(self) -> None:
        """Forget what it came to."""
        with self._lock:
            if not self._state.running:
                self._state = State()

    def _tell(self, stage: str, done: int, total: int) -> None:
        with self._lock:
            if self._state.stopping:
                raise Stopped
            if stage != self._state.stage:
                self._stage_begun = time.monotonic()
            self._state = replace(self._state, stage=stage, done=done, total=total)

    def _run(self, run: Callable[[Tell], Any]) -> None:
        ended: dict[str, Any] = {}
        try:
            ended["result"] = run(self._tell)
        except Stopped:
            ended["stopped"] = True
        except SwardkeyError as error:
            ended["fault"] = for_pages(str(error))
        except Exception as error:
            refused = refused_by_disk(error)
            ended["fault"] = for_pages(refused) if refused else write_fault(error)
        with self._lock:
            self._state = replace(self._state, **ended, running=False, stopping=False)
