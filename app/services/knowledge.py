"""The key and the advice, loaded through a cache of the parsed configuration files in the user's folder."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from app.services.home import cache_folder, home, slips_file
from model.errors import FloraError
from model.flora.load import CONFIGS, read_as, read_mapping
from model.storage import replace_file

if TYPE_CHECKING:
    from model.control import Control
    from model.flora import Flora, Species
    from model.identify import Key
    from model.printed_key import PrintedKey


class ParsedFiles:
    """Reads YAML files as read_mapping does, through a cache in one JSON file.

    An entry is valid while the size and modification time of its file are unchanged. What comes from the cache is
    validated like the file itself; where the cache cannot be read or written, the files are parsed. No file is parsed
    twice by one process.
    """

    _parsed: ClassVar[dict[str, dict[str, Any]]] = {}

    def __init__(self, kept: Path) -> None:
        self.kept = kept
        self._changed = False
        self._read: set[str] = set()
        try:
            self._cached: dict[str, Any] = json.loads(kept.read_bytes())
        except (OSError, ValueError, RecursionError):
            self._cached = {}
        if not isinstance(self._cached, dict):
            self._cached = {}

    def __call__(self, path: Path) -> dict[str, Any]:
        """The mapping in a file. Raises FloraError as read_mapping does."""
        try:
            state = path.stat()
        except OSError:
            return read_mapping(path)
        stamp = [state.st_mtime_ns, state.st_size]
        self._read.add(str(path))
        entry = self._cached.get(str(path))
        if isinstance(entry, dict) and entry.get("stamp") == stamp and isinstance(entry.get("mapping"), dict):
            return dict(entry["mapping"])
        entry = self._parsed.get(str(path))
        if entry is None or entry["stamp"] != stamp:
            entry = {"stamp": stamp, "mapping": read_mapping(path)}
            self._parsed[str(path)] = entry
        self._cached[str(path)] = entry
        self._changed = True
        return dict(entry["mapping"])

    def keep(self) -> None:
        """Write the cache where anything was parsed; a folder that cannot be written to is not a fault."""
        if not self._changed:
            return
        # Those of another checkout are left out, or they would pile up and every start would read them.
        ours = (f"{CONFIGS}{os.sep}", f"{home()}{os.sep}")
        self._cached = {
            path: entry for path, entry in self._cached.items() if path in self._read or path.startswith(ours)
        }
        with suppress(OSError, TypeError):
            self.kept.parent.mkdir(parents=True, exist_ok=True)
            replace_file(self.kept, json.dumps(self._cached, ensure_ascii=False, default=str).encode())


@contextmanager
def parsed_files() -> Iterator[ParsedFiles]:
    """A reader of YAML files whose cache is saved when the block ends."""
    files = ParsedFiles(cache_folder() / "configs.json")
    yield files
    files.keep()


def own_species(folder: Path) -> dict[str, Species]:
    """Species of the user's own; of those with names only, the key knows no characters."""
    if not any(folder.glob("*.yaml")):
        return {}
    from model.flora.load import placeholder_species
    from training.collection.own import OwnSpecies, read_own

    found = read_own(folder)
    return {
        name: placeholder_species(name, plant.scientific_name, list(plant.common_names))
        if isinstance(plant, OwnSpecies)
        else plant
        for name, plant in found.items()
    }


def load_key(fitted: bool = True) -> Key:
    """The key over the whole flora, and the species of the user's own.

    ``fitted``: with the rates of slips that were fitted to the user's records, where they are in use.
    """
    # Only here: advice and records need no likelihoods, nor the arrays that these are.
    from model.identify import Key
    from model.traits import load_observer
    from model.traits.refit import OwnRates, with_rates

    folder = home() / "collection" / "species"
    observer = load_observer()
    if fitted and slips_file().exists():
        try:
            observer = with_rates(observer, read_as(slips_file(), OwnRates).rates)
        except FloraError as error:
            raise FloraError(f"{error}, or go back to the shipped rates: swardkey slips --drop") from None
    with parsed_files() as files:
        return Key(read=files, own=own_species(folder), own_folder=folder, observer=observer)


@lru_cache(maxsize=1)
def load_advice() -> Control:
    """All that is known of control, with the flora: the same for every user, so it is read once."""
    from model.control import load_control
    from model.flora.load import load_flora

    with parsed_files() as files:
        return load_control(load_flora(read=files), read=files)


def printed_key(month: int | None, key: Key | None = None) -> tuple[PrintedKey, Flora]:
    """The printed key, of all plants or of those that are to be seen in a month, and the flora."""
    from model.printed_key import make_key

    key = key or load_key()
    return make_key(key.likelihoods, month), key.flora
