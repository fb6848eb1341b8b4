"""Long-running work in a background thread, one task at a time: its progress, the time left and its result."""

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

Progress = Callable[[str, int, int], None]  # stage, done, total; 0 where not known
WAIT = 8.0  # seconds of a stage before the time left is estimated


class Stopped(Exception):  # noqa: N818 - a person's wish, not a fault
    """Raised by the progress callback once a person has stopped the task."""


@dataclass(frozen=True)
class State:
    """The state of the task.

    ``spent``: seconds since it started; ``left``: estimated seconds left of its stage, None where not known yet.
    ``resume``: the action and form fields that resume it after a stop; empty where it starts over.
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
    """Runs one task at a time in a thread of its own; any page may read its state."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._state = State()
        self._begun = self._stage_begun = 0.0

    @property
    def state(self) -> State:
        """Its state now, with the time spent and left."""
        found = self._state
        if not found.running:
            return found
        now = time.monotonic()
        spent = now - self._stage_begun
        known = 0 < found.done < found.total and spent > WAIT
        left = spent / found.done * (found.total - found.done) if known else None
        return replace(found, spent=now - self._begun, left=left)

    def start(self, name: str, run: Callable[[Progress], Any], resume: Mapping[str, str] | None = None) -> None:
        """Start a task; ``run`` is called with the progress callback. Raises FormError while one is running."""
        with self._lock:
            if self._state.running:
                raise FormError(f"{self._state.name} is running; wait until it is done, or stop it.")
            self._state = State(name, running=True, resume=resume or {})
            self._begun = self._stage_begun = time.monotonic()
        threading.Thread(target=self._run, args=(run,), daemon=True).start()

    def stop(self) -> None:
        """Ask it to stop: it ends at its next progress callback."""
        with self._lock:
            if self._state.running:
                self._state = replace(self._state, stopping=True)

    def clear(self) -> None:
        """Discard the result of the last task."""
        with self._lock:
            if not self._state.running:
                self._state = State()

    def _progress(self, stage: str, done: int, total: int) -> None:
        with self._lock:
            if self._state.stopping:
                raise Stopped
            if stage != self._state.stage:
                self._stage_begun = time.monotonic()
            self._state = replace(self._state, stage=stage, done=done, total=total)

    def _run(self, run: Callable[[Progress], Any]) -> None:
        ended: dict[str, Any] = {}
        try:
            ended["result"] = run(self._progress)
        except Stopped:
            ended["stopped"] = True
        except SwardkeyError as error:
            ended["fault"] = for_pages(str(error))
        except Exception as error:
            refused = refused_by_disk(error)
            ended["fault"] = for_pages(refused) if refused else write_fault(error)
        with self._lock:
            self._state = replace(self._state, **ended, running=False, stopping=False)
