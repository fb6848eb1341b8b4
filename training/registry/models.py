"""The models of this user: immutable folders, and one small file that says which is active.

    models/<utc>-<sha8>/   the files of a model, and MANIFEST.sha256 over them
    models/current.json    {current, previous, at}; replaced in one move
    models/pinned.json     names that are never removed
    models/promotions.jsonl   what was decided, by whom and why; only ever added to

Nothing here loads a model, so that all of it is quick.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, TypeVar

from filelock import FileLock, Timeout

from model.errors import ModelError, nearest
from model.storage import replace_file
from training.registry.decision_log import append_entry, entries_in, turned_down
from training.registry.model_folder import NAME, clear_leftovers, copy_in, fault_of, name_of, read_json, remove_folder

# Known here too, because the module that reads models loads the libraries of deep learning.
STARTER_FOLDER = Path(__file__).resolve().parents[2] / "model" / "starter"
STARTER = "starter"
KEPT = 5  # models kept besides the active one, the one before it, and those pinned
KEPT_ASIDE = 3  # of those that were turned down
LARGEST_POINTER = 100_000  # bytes of current.json and pinned.json
PATIENCE = 20.0  # seconds to wait for another swardkey that changes models
Model = TypeVar("Model")


@dataclass(frozen=True)
class Pointer:
    """current.json: names of models, or `starter` for the one that was shipped."""

    current: str = STARTER
    previous: str | None = None
    at: str = ""


@dataclass(frozen=True)
class InCharge:
    """The model to use. ``note`` says, in a sentence, when it is not the one that was chosen."""

    name: str
    folder: Path
    note: str = ""


@dataclass(frozen=True)
class Installed:
    """One line of the list of models; ``fault`` is empty when all its files are as they were written."""

    name: str
    species: int | None
    in_charge: bool
    previous: bool
    pinned: bool
    fault: str
    turned_down: bool = False  # by the gate, and never activated since


@dataclass(frozen=True)
class Registry:
    """The folder of a user's models."""

    folder: Path
    starter: Path = STARTER_FOLDER

    def pointer(self) -> Pointer:
        """What current.json says; the starter where there is none. Raises ModelError when it is damaged."""
        path = self.folder / "current.json"
        try:
            found = Pointer(**read_json(path, LARGEST_POINTER))
        except FileNotFoundError:
            return Pointer()
        except (OSError, ValueError, TypeError):
            raise ModelError(f"{path}: cannot be read; choose a model with swardkey models use NAME") from None
        for name in (found.current, STARTER if found.previous is None else found.previous):
            if name != STARTER and not NAME.fullmatch(str(name)):
                raise ModelError(f"{path}: {str(name)[:60]!r} is not a model; choose one with swardkey models use NAME")
        return found

    def in_charge(self) -> InCharge:
        """The active model, its files checked; else the one before it; else the starter."""
        return self.load(lambda folder: None)[1]

    def load(self, read: Callable[[Path], Model]) -> tuple[Model, InCharge]:
        """Read the active model; where that is damaged, the one before it, else the starter.

        ``read`` takes a folder and raises ModelError when it cannot use it. Nothing is changed
        on the disk. Raises ModelError when not even the starter can be read.
        """
        notes: list[str] = []
        try:
            pointer = self.pointer()
        except ModelError as error:
            pointer = Pointer()
            notes.append(str(error))
        for name in (pointer.current, pointer.previous):
            if name is None or name == STARTER:
                break
            try:
                self._check(name)
                return read(self.folder / name), InCharge(name, self.folder / name, self._note(notes, name))
            except ModelError as error:
                notes.append(str(error))
        return read(self.starter), InCharge(STARTER, self.starter, self._note(notes, STARTER))

    def named(self, name: str) -> InCharge:
        """A model by its name, active or not, its files checked. Raises ModelError."""
        if name == STARTER:
            return InCharge(STARTER, self.starter)
        self._installed(name)
        self._check(name)
        return InCharge(name, self.folder / name)

    def names(self) -> list[str]:
        """Names of the models that are installed, oldest first, without the starter."""
        if not self.folder.is_dir():
            return []
        found = [p for p in self.folder.iterdir() if NAME.fullmatch(p.name) and p.is_dir() and not p.is_symlink()]
        return [p.name for p in sorted(found, key=lambda p: (p.name[:16], p.stat().st_mtime_ns))]

    def installed(self) -> tuple[Installed, ...]:
        """All models, the starter first, then oldest first; each with its files checked."""
        pointer, pinned, aside = self._pointer_or_none() or Pointer(), self.pinned(), turned_down(self.history())
        found = []
        for name in (STARTER, *self.names()):
            folder = self.starter if name == STARTER else self.folder / name
            roles = (name == pointer.current, name == pointer.previous, name in pinned)
            fault = "" if name == STARTER else fault_of(folder)
            found.append(Installed(name, _species_in(folder), *roles, fault, name in aside))
        return tuple(found)

    def install(self, source: Path) -> str:
        """Copy a model folder in, whole or not at all; its name. It is not activated.

        Installing the same files again gives the name that they have. Raises ModelError when
        the folder is not a model, or cannot be written; then nothing is left behind.
        """
        with self._changing("install a model"):
            return self._install(source)

    def keep_aside(self, source: Path, **facts: Any) -> str:
        """Install a model that the gate turned down, and log that with ``facts``; its name.

        ``use`` then needs a person's word for it. Raises ModelError as install does.
        """
        with self._changing("install a model"):
            name = self._install(source, aside=True)
            append_entry(self.folder, _now(), "keep", {"model": name, **facts})
            return name

    def _install(self, source: Path, aside: bool = False) -> str:
        clear_leftovers(self.folder)
        name = copy_in(source, self.folder, _now(), self.names())
        # An old model that cannot be removed now is removed another time.
        with suppress(OSError):
            self._prune(name, aside)
        return name

    def use(
        self,
        name: str,
        action: str = "use",
        must_replace: str | None = None,
        read: Callable[[Path], object] = lambda folder: None,
        **facts: Any,
    ) -> InCharge:
        """Activate a model, and log it with ``facts``. `starter` is the one that was shipped.

        ``must_replace`` names the model that must be in use now, by ``read`` as in load. Raises ModelError for a name
        that is not installed, a damaged model, another one in use, or with the ``action`` `use` one that was turned
        down; nothing changes then.
        """
        with self._changing("activate a model"):
            found = self.named(name)
            if action == "use" and name in turned_down(self.history()):
                command = f"swardkey models use {name} --by NAME --because REASON"
                raise ModelError(f"{name} was turned down when it was trained; to activate it all the same: {command}")
            before = self._pointer_or_none()
            if must_replace is not None and self.load(read)[1].name != must_replace:
                raise ModelError(f"{must_replace} is no longer the active model; measure the new one again")
            if before is None or before.current != name:
                self._point(name, must_replace or (before.current if before else None), action, facts)
            return found

    def undo(self) -> InCharge:
        """Revert to the previous model. Doing it twice ends where it began.

        Raises ModelError when there was none, or it is damaged; then nothing changes.
        """
        with self._changing("undo"):
            pointer = self.pointer()
            if pointer.previous is None:
                raise ModelError("there is nothing to undo: no other model was active before")
            found = self.named(pointer.previous)
            self._point(found.name, pointer.current, "undo", {})
            return found

    def pin(self, name: str, pinned: bool = True) -> None:
        """Keep a model for good, or no longer. Raises ModelError for a name that is not installed."""
        with self._changing("pin a model"):
            self._installed(name)
            names = sorted({*self.pinned(), name} if pinned else self.pinned() - {name})
            replace_file(self.folder / "pinned.json", _json(names))

    def pinned(self) -> set[str]:
        """Names that are never removed."""
        try:
            found = read_json(self.folder / "pinned.json", LARGEST_POINTER)
        except (OSError, ValueError):
            return set()
        return {str(name) for name in found} if isinstance(found, list) else set()

    def log(self, action: str, **facts: Any) -> None:
        """Add one line to promotions.jsonl: when, what, and ``facts`` that JSON can hold."""
        with self._changing("write the log of models"):
            append_entry(self.folder, _now(), action, facts)

    def history(self) -> tuple[dict[str, Any], ...]:
        """What promotions.jsonl holds, oldest first; a line that a crash cut short is left out."""
        return entries_in(self.folder)

    def _point(self, name: str, previous: str | None, action: str, facts: dict[str, Any]) -> None:
        # Logged first: a change that nobody wrote down must not take effect.
        append_entry(self.folder, _now(), action, {"model": name, "instead_of": previous, **facts})
        pointer = Pointer(name, previous, _now())
        try:
            replace_file(self.folder / "current.json", _json(asdict(pointer)))
        except OSError:
            if self._pointer_or_none() != pointer:  # else it is in its place, and must not be reported as unchanged
                raise

    def _prune(self, newest: str, aside: bool) -> None:
        pointer = self._pointer_or_none()
        if pointer is None:  # which is active is not known: keep all
            return
        names, down = self.names(), turned_down(self.history()) | ({newest} if aside else set())
        # Those that were turned down push out none that was not.
        rest, last = ([name for name in names if (name in down) is gone] for gone in (False, True))
        kept = {newest, pointer.current, pointer.previous, *self.pinned(), *rest[-KEPT:], *last[-KEPT_ASIDE:]}
        for name in names:
            if name not in kept:
                remove_folder(self.folder / name)

    def _pointer_or_none(self) -> Pointer | None:
        try:
            return self.pointer()
        except ModelError:
            return None

    def _installed(self, name: str) -> None:
        if name not in self.names():
            raise ModelError(f"model {name!r} is not installed; {nearest(name, [STARTER, *self.names()])}")

    def _check(self, name: str) -> None:
        fault = fault_of(self.folder / name)
        if fault:
            raise ModelError(f"model {name} is damaged ({fault})")

    @staticmethod
    def _note(notes: Sequence[str], name: str) -> str:
        if not notes:
            return ""
        used = "the starter that was shipped" if name == STARTER else f"the one before it, {name},"
        return f"{'; '.join(notes)}; {used} is used instead; choose with swardkey models use NAME"

    @contextmanager
    def _changing(self, what: str) -> Iterator[None]:
        """One change at a time; a disk that refuses is one sentence."""
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            with FileLock(self.folder / ".lock", timeout=PATIENCE):
                yield
        except Timeout:
            raise ModelError("another swardkey is changing the models; wait until it is done") from None
        except OSError as error:
            where = error.filename or self.folder
            raise ModelError(
                f"{where}: cannot {what} ({error.strerror or error}); free the disk or allow writing there; "
                "the active model is unchanged"
            ) from None


def _species_in(folder: Path) -> int | None:
    """How many species a model names, as its description says; None when it cannot be read."""
    try:
        classes = read_json(folder / "model.json")["classes"]
        return sum(not str(name).startswith("other:") for name in classes)
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _json(data: Any) -> bytes:
    return (json.dumps(data, indent=2) + "\n").encode()


def _now() -> str:
    return name_of(datetime.now(UTC))
