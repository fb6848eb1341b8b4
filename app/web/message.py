"""What the script of a page sends when a button is pressed or files are chosen, checked before anything is done."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import parse_qsl

from app.web.frame import Address, Fields, FormError, read_fields, without_surrogates
from app.web.uploads import Uploads, remove_upload

LONGEST_VALUE = 200  # characters of one value in an address


@dataclass(frozen=True)
class Message:
    """The address of the page and the plant on it, which button was pressed, with what, and the fields of its form.

    ``files`` were uploaded with it.
    """

    address: Address = field(default_factory=dict)
    plant: str = ""
    do: str = ""
    which: str = ""
    fields: Fields = field(default_factory=dict)
    files: tuple[Path, ...] = ()


def read_message(sent: object, uploads: Uploads) -> Message:
    """A message from plain JSON. Raises FormError where it is none, or a file did not arrive."""
    if not isinstance(sent, Mapping):
        raise FormError("The page sent nothing that can be read; load it again.")
    files = sent.get("files") or []
    if not isinstance(files, list) or not all(isinstance(file, Mapping) for file in files):
        raise FormError("The files did not arrive; choose them again.")
    return Message(
        read_address(sent.get("address")),
        without_surrogates(str(sent.get("plant", ""))),
        without_surrogates(str(sent.get("do", ""))),
        without_surrogates(str(sent.get("with", ""))),
        read_fields(sent.get("fields", {})),
        _claimed(files, uploads),
    )


def _claimed(files: list[Mapping[str, object]], uploads: Uploads) -> tuple[Path, ...]:
    """The files of a message, all or none. Raises FormError where one did not arrive; the others then go."""
    claimed: list[Path] = []
    try:
        for file in files:
            claimed.append(uploads.claim(file.get("path"), file.get("name")))
    except FormError:
        for one in claimed:
            remove_upload(one)
        raise
    return tuple(claimed)


def read_address(query: object) -> Address:
    """The values in the query of an address, such as "?plant=...&step=lawn"; {} for what is no query."""
    text = without_surrogates(query.removeprefix("?")) if isinstance(query, str) else ""
    try:
        return {name: value[:LONGEST_VALUE] for name, value in parse_qsl(text, max_num_fields=20)}
    except ValueError:
        return {}
