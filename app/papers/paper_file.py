"""A paper as a file: whole or not at all."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from model.errors import AnswerError
from model.storage import replace_file


def check_place(file: Path, option: str, endings: tuple[str, ...]) -> None:
    """Raise AnswerError where a paper cannot be written under this name; asked before anything is worked out."""
    if file.suffix.lower() not in endings:
        raise AnswerError(f"{option} {file}: must end in {' or '.join(endings)}; give it another name")
    if not file.parent.is_dir():
        raise AnswerError(f"{option} {file}: there is no folder {file.parent}; make it first")


def write_paper(file: Path, option: str, endings: tuple[str, ...], make: Callable[[], bytes]) -> None:
    """Make a paper and write it. Raises AnswerError where it cannot be written; what was there is then still there."""
    check_place(file, option, endings)
    data = make()
    try:
        replace_file(file, data)
    except OSError as error:
        raise AnswerError(f"{option} {file}: cannot be written ({error.strerror}); name another place") from None
