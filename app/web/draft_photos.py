"""Photos of a draft: uploads become copies without metadata, each with its faults, and evidence for the interview."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, fields, replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from PIL import Image

from app.services.home import registry
from app.services.photo_model import active_photo_model
from app.web.draft import Draft, DraftError, Shot
from app.web.frame import fault
from app.web.uploads import remove_upload
from model.errors import PhotoError
from model.photo.decode import Photo
from model.photo.evidence import OTHER, Evidence
from model.photo.sandbox import open_photo
from model.photo.stored import stored_jpeg
from model.photo.thumbnail import jpeg_of
from model.storage import replace_file

if TYPE_CHECKING:
    from model.photo.extract import Extractor

MOST_PHOTOS = 12  # of one plant; more add no evidence
OLDEST = 10  # years; an older day comes from a clock that was never set
MOST_CACHED = 400  # photos whose features are cached: 5 kB each
_features: dict[str, Any] = {}  # features by model and hash of the photo
THUMB, THUMB_QUALITY = (360, 360), 82  # px; of a JPEG
FILE = re.compile(r"[0-9a-f]{16}(\.thumb)?\.jpg")
KINDS = {
    "tiny": "small, or taken from too far away: use the original, or go closer",
    "blurred": "blurred: hold still, and tap on the plant before you take it",
}


def add_photos(draft: Draft, folder: Path, files: Sequence[Path]) -> tuple[Draft, list[str]]:
    """A draft with more photos, and a sentence on each file that is none. The uploads are removed.

    The first day that a photo tells of itself sets the month, and is all that is kept of its metadata.
    """
    shots, opened, taken = list(draft.shots), {}, draft.taken
    notices: list[str] = []
    for file in files:
        try:
            if len(shots) >= MOST_PHOTOS:
                notices.append(fault(f"{file.name}: {MOST_PHOTOS} photos of one plant are enough; remove one first."))
                continue
            shot, photo = _shot(file, folder)
            taken = taken or day_taken(file)
            if known := next((one for one in shots if one.thumb == shot.thumb), None):
                same = f", as {known.name}" if known.name != file.name else ""
                notices.append(fault(f"{file.name}: is already here{same}: the same picture counts once."))
            else:
                shots.append(shot)
                opened[shot.thumb] = photo
        except PhotoError as error:
            notices.append(fault(str(error).replace(str(file), file.name)))
        except OSError as error:
            raise DraftError(f"the photo cannot be kept ({error.strerror}); free some space and try again") from None
        finally:
            remove_upload(file)
    month = int(taken[5:7]) if taken != draft.taken else draft.month
    return with_evidence(replace(draft, shots=tuple(shots), taken=taken, month=month), folder, opened), notices


def day_taken(file: Path) -> str:
    """The day of a photo by its own metadata, as YYYY-MM-DD; "" for none, and for a day that a visit cannot have."""
    from training.collection.group import day_of

    day, today = day_of(file), date.today().isoformat()
    return day if f"{int(today[:4]) - OLDEST}{today[4:]}" <= day <= today else ""


def remove_photo(draft: Draft, folder: Path, thumb: str) -> Draft:
    """A draft without one photo, which is removed from the disk too."""
    for shot in draft.shots:
        if shot.thumb == thumb:
            for file in filter(None, (shot.thumb, shot.file)):
                (folder / file).unlink(missing_ok=True)
    return with_evidence(replace(draft, shots=tuple(shot for shot in draft.shots if shot.thumb != thumb)), folder)


def with_evidence(draft: Draft, folder: Path, opened: Mapping[str, Photo] | None = None) -> Draft:
    """The draft with the evidence of all its photos. ``opened``: photos that are decoded already, by thumbnail."""
    if not draft.shots:
        return replace(draft, evidence=None, model="")
    from model.photo.model import PhotoModel

    model, name = active_photo_model(), _active_model()
    photos = [_photo_for_model(shot, folder, (opened or {}).get(shot.thumb), name) for shot in draft.shots]
    known = _CachedExtractor(model.extractor, name)
    seen = PhotoModel(model.classifier, known).look(photos)  # type: ignore[arg-type]
    shots = (replace(s, notes=tuple(e["notes"])) for s, e in zip(draft.shots, seen.photos, strict=True))
    return replace(draft, shots=tuple(shots), evidence=asdict(seen), model=name)


def photo_evidence(draft: Draft, folder: Path) -> Evidence | None:
    """The evidence of a draft's photos; computed again where another model has been activated since."""
    if not draft.shots:
        return None
    if draft.model != _active_model() or draft.evidence is None:
        draft = with_evidence(draft, folder)
    # A draft of an earlier version holds more than is used now.
    kept = {field.name for field in fields(Evidence)}
    return Evidence(**{name: value for name, value in (draft.evidence or {}).items() if name in kept})


class _CachedExtractor:
    """An extractor that computes the features of each photo once; a photo is known by the folder in its file's name."""

    def __init__(self, extractor: Extractor, model: str) -> None:
        self.extractor = extractor
        self.model = model

    def features(self, photo: Photo) -> Any:
        """Features of one photo, from the cache where they are there."""
        key = f"{self.model}/{photo.file.split('/')[0]}"
        if key not in _features:
            while len(_features) >= MOST_CACHED:
                _features.pop(next(iter(_features)), None)
            _features[key] = self.extractor.features(photo)
        return _features[key]


def _photo_for_model(shot: Shot, folder: Path, photo: Photo | None, model: str) -> Photo:
    """A photo as the model takes it: it is decoded only where its features are not cached."""
    name = shot.thumb.split(".")[0]
    if photo is None:
        stored = shot.usable and f"{model}/{name}" not in _features
        pixels = open_photo(folder / shot.file).pixels if stored else np.zeros((1, 1, 3), np.uint8)
        photo = Photo(shot.file, pixels, shot.usable)
    return replace(photo, file=f"{name}/{shot.name}", notes=shot.faults)


def _active_model() -> str:
    return registry().pointer().current


def _shot(file: Path, folder: Path) -> tuple[Shot, Photo]:
    with ThreadPoolExecutor(1) as beside:  # the copy that is kept takes as long as all else here
        storing = beside.submit(stored_jpeg, file)
        photo = open_photo(file)
        # By what is kept of it: saved twice with another comment, it is one photo.
        named_by = storing.result() if photo.usable else file.read_bytes()
        name = hashlib.sha256(named_by).hexdigest()[:16]
        folder.mkdir(parents=True, exist_ok=True)
        thumb = _write(folder / f"{name}.thumb.jpg", jpeg_of(photo, THUMB, THUMB_QUALITY))
        if not photo.usable:
            return Shot(file.name, thumb, usable=False, faults=photo.notes), photo
        faults = dict.fromkeys([*photo.notes, *_faults(file, photo)])
        kept = _write(folder / f"{name}.jpg", named_by)
    return Shot(file.name, thumb, kept, faults=tuple(faults)), photo


def _faults(file: Path, photo: Photo) -> list[str]:
    """Further faults, judged as in the collection; without those that open_photo reports."""
    # Imported here, since training takes a second to import.
    from training.audit.quality import find_faults
    from training.audit.settings import load_settings
    from training.data.look import Look, scaled, sharpness
    from training.data.manifest import LabelledPhoto

    limits = load_settings().quality
    side = min(photo.size)
    grey = Image.fromarray(photo.pixels).convert("L")
    look = Look("", side=side, sharpness=sharpness(scaled(grey, limits.blur_side)), brightness=128.0)
    row = LabelledPhoto(file, file.name, "", "", False, "", "", "")
    found = find_faults([row], [look], limits)
    noted = " ".join(photo.notes)
    return [KINDS[fault.kind] for fault in found if fault.kind in KINDS and fault.kind not in noted]


def _write(path: Path, data: bytes) -> str:
    replace_file(path, data)
    return path.name


def photo_file(folder: Path, name: str) -> Path | None:
    """A photo of a draft by its name; None for anything else, wherever it lies."""
    found: Any = folder / name if FILE.fullmatch(name) else None
    return found if found is not None and found.is_file() else None


def photographed_species() -> set[str]:
    """The species that the active photo model has learned from photos."""
    try:
        described = json.loads((registry().in_charge().folder / "model.json").read_bytes())
        return {name for name in described["classes"] if not name.startswith(OTHER)}
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return set()
