"""Where what belongs to the user lives: SWARDKEY_HOME, or the platform's user data folder."""

from __future__ import annotations

import errno
import os
import shutil
import stat
import tempfile
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from platformdirs import user_data_path

if TYPE_CHECKING:
    from training.registry.models import Registry

# The folders that are made in the user's.
OURS = (
    "records",
    "collection",
    "models",
    "drafts",
    "labels",
    "slips",
    "uploads",
    "backups",
    "faults",
    "cache",
    "before-restore",
)
# Files and folders of ours beside them, and how the others begin.
BESIDE = ("slips.yaml", "demo", "demo.json")
HIDDEN = ("before-restore-", ".restor", ".backing-up-", ".gone-", ".demo.")
NO_SPACE_OR_PERMISSION = (errno.ENOSPC, errno.EDQUOT, errno.EROFS, errno.EACCES, errno.EPERM)
# Where a folder, a link, a device or a file lies in the place of another.
NOT_AS_MADE = (errno.ENOTDIR, errno.EISDIR, errno.ELOOP, errno.EEXIST, errno.ENXIO, errno.ENODEV, errno.EINVAL)
LEAST_ROOM = 2_000_000  # bytes that must be free; what is saved at a time takes far less
MOST_FAULTS = 20  # files with the details of a fault
DEMO_MARK = "demo.json"  # lies in a folder that is a demo's


def home() -> Path:
    """The user's folder; not made here, so that reading never writes."""
    given = os.environ.get("SWARDKEY_HOME")
    return expanded(given) if given else user_data_path("swardkey", appauthor=False)


def expanded(path: str | Path) -> Path:
    """A path with ~ in the place of the user's home folder; as it is where there is no such user."""
    try:
        return Path(path).expanduser()
    except RuntimeError:
        return Path(path)


def why_unsaved() -> str:
    """Why nothing can be saved in the user's folder, in one sentence; "" where it can be."""
    folder = home()
    while not folder.exists() and folder != folder.parent:
        folder = folder.parent
    records = home() / "records"
    places = [path for path in (folder, records, records / "records.sqlite") if path.exists()]
    if not all(os.access(path, os.W_OK) for path in places):
        why = "the folder of your data cannot be written to: fix its permissions, or copy it to another disk"
    elif shutil.disk_usage(folder).free < LEAST_ROOM:
        why = "the disk is full: make room on it"
    else:
        return ""
    return f"Nothing can be saved now, because {why}. Weeds can still be named, and records read and printed."


def refused_by_disk(error: BaseException) -> str:
    """What the disk refused, in one sentence; "" for any other error."""
    if isinstance(error, OSError) and error.errno in NO_SPACE_OR_PERMISSION:
        return f"{error.filename or 'the disk'}: {error.strerror}; make room or fix its permissions, and try again"
    if isinstance(error, OSError) and error.errno in NOT_AS_MADE and error.filename:
        return f"{error.filename}: {error.strerror}; move what is in its place elsewhere, and try again"
    return ""


def keep_private() -> None:
    """Shut others of this machine out of the user's folder, of the folders that this program makes, and of the records.

    A folder that holds other things too, or is set up for a group, was somebody's before: it keeps its own permissions.
    """
    own = [home() / name for name in OURS] + ([home().resolve()] if is_ours() else [])
    for path in (*own, *(home() / "records").glob("*"), slips_file()):
        with suppress(OSError):
            if not path.is_symlink() and (mode := stat.S_IMODE(path.stat().st_mode)) & 0o077:
                path.chmod(mode & 0o700)


def is_ours() -> bool:
    """Whether the user's folder is this program's alone: nothing else lies in it, and it is not set up for a group.

    The folder where the platform keeps our data is ours, whatever it holds.
    """
    if not os.environ.get("SWARDKEY_HOME"):
        return True
    try:
        if home().stat().st_mode & (stat.S_ISGID | stat.S_ISVTX):
            return False
        names = [path.name for path in home().iterdir()]
    except OSError:
        return False
    return all(name in (*OURS, *BESIDE) or name.startswith(HIDDEN) for name in names)


def program_version() -> str:
    """The version of this program, as it was installed; that of its source where it was not."""
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version("swardkey")
    except PackageNotFoundError:
        return "not installed"


def cache_folder() -> Path:
    """Where what can be made again is kept: the folder SWARDKEY_CACHE, or one inside the user's."""
    given = os.environ.get("SWARDKEY_CACHE")
    return expanded(given) if given else home() / "cache"


def features_file() -> Path:
    """Where the features of photos are kept, so that no photo is looked at twice."""
    return home() / "cache" / "features.safetensors"


def is_demo(folder: Path) -> bool:
    """Whether a folder holds a demo, an invented town in place of the user's own records."""
    return (folder / DEMO_MARK).is_file()


def registry() -> Registry:
    """The photo models of this user; its library is imported when it is first asked for."""
    from training.registry.models import Registry

    return Registry(home() / "models")


def slips_file() -> Path:
    """Where the rates of slips that were fitted to the user's records are kept."""
    former = _former_slips_file()
    return former if former.exists() else home() / "slips" / "slips.yaml"


def settle_slips_file() -> None:
    """Move what an earlier version kept beside the folders into one of them, which backups take along."""
    former, new = _former_slips_file(), home() / "slips" / "slips.yaml"
    if former.exists():
        with suppress(OSError):  # on a disk that cannot be written it is read where it lies
            new.parent.mkdir(exist_ok=True)
            former.replace(new)


def _former_slips_file() -> Path:
    return home() / "slips.yaml"


def labels_file() -> Path:
    """Where is kept which labels the user has read, and what grass they name."""
    return home() / "labels" / "labels.yaml"


def fault_file() -> Path:
    """A new file for the details of a fault, in the user's folder or, failing that, a temporary one; the oldest go."""
    folder = home() / "faults"
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError:
        folder = Path(tempfile.gettempdir())
    with suppress(OSError):
        for old in sorted(folder.glob("fault-*.txt"))[: 1 - MOST_FAULTS]:
            old.unlink()
    return folder / f"fault-{datetime.now(UTC):%Y%m%dT%H%M%S%f}.txt"
