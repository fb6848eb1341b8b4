"""One long piece of work at a time, beside the pages: how far it is, how long it still takes, what it came to."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from app.web.faults import write_fault
from app.web.frame import FormError
from model.errors import SwardkeyError


@dataclass(frozen=True)
class State:
    """How a piece of work stands. ``left``: seconds it still takes, None where that is not known yet."""

    name: str = ""
    done: int = 0
    total: int = 0
    left: float | None = None
    running: bool = False
    fault: str = ""
    result: Any = None


class Work:
    """Runs one piece of work in a thread of its own; any page may look at how it stands."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._state = State()
        self._begun = 0.0

    @property
    def state(self) -> State:
        """How it stands now."""
        found = self._state
        spent = time.monotonic() - self._begun
        left = (
            spent / found.done * (found.total - found.done) if found.running and 0 < found.done < found.total else None
        )
        return State(**{**vars(found), "left": left})

    def start(self, name: str, total: int, run: Callable[[Callable[[int], None]], Any]) -> None:
        """Begin; ``run`` is given how to tell its progress. Raises FormError while something is running."""
        with self._lock:
            if self._state.running:
                raise FormError(f"{self._state.name} is running; wait until it is done.")
            self._state = State(name, total=total, running=True)
            self._begun = time.monotonic()
        threading.Thread(target=self._run, args=(run,), daemon=True).start()

    def clear(self) -> None:
        """Forget what it came to."""
        with self._lock:
            if not self._state.running:
                self._state = State()

    def _tell(self, done: int) -> None:
        self._state = State(**{**vars(self._state), "done": done})

    def _run(self, run: Callable[[Callable[[int], None]], Any]) -> None:
        ended: dict[str, Any] = {}
        try:
            ended["result"] = run(self._tell)
        except SwardkeyError as error:
            ended["fault"] = str(error)
        except Exception as error:
            ended["fault"] = write_fault(error)
        self._state = State(**{**vars(self._state), **ended, "running": False})
