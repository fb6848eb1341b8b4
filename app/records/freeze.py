"""Hold the collection and the models still, while they are copied or moved."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

from filelock import FileLock, Timeout

from app.records.refusals import RecordsError

PATIENCE = 20.0  # seconds
# The locks of training.collection.store and training.registry.models.
_LOCKS = ("collection/manifest.lock", "models/.lock")


@contextmanager
def held_still(home: Path, patience: float = PATIENCE) -> Iterator[None]:
    """Nobody changes the collection or the models meanwhile. Raises RecordsError where somebody goes on and on."""
    with ExitStack() as locks:
        for name in _LOCKS:
            if (home / name).parent.is_dir():
                try:
                    locks.enter_context(FileLock(home / name, timeout=patience))
                except Timeout:
                    raise RecordsError(
                        f"{(home / name).parent}: another swardkey is writing to it; try again when it is done"
                    ) from None
        yield
