"""Errors as sentences on a page; a fault of the program is also written to a file that can be sent in."""

from __future__ import annotations

import traceback
from collections.abc import Iterator
from contextlib import contextmanager

from app.services.home import fault_file, refused_by_disk
from app.web.frame import Fault, fault
from model.errors import SwardkeyError


@contextmanager
def errors_as_notices(notices: list[str]) -> Iterator[None]:
    """Whatever goes wrong inside is added to ``notices`` as one sentence."""
    try:
        yield
    except SwardkeyError as error:
        notices.append(fault(str(error)))
    except Exception as error:
        refused = refused_by_disk(error)
        notices.append(fault(refused) if refused else Fault(write_fault(error)))


def write_fault(error: BaseException) -> str:
    """Write the traceback of a fault of the program to a file; returns the sentence that reports it."""
    file = fault_file()
    what = f"A fault of the program ({type(error).__name__}); nothing is lost."
    try:
        file.write_text("".join(traceback.format_exception(error)), encoding="utf-8")
    except OSError:
        return f"{what} Its details could not be written down; make room on the disk."
    return f"{what} Please send in {file.name}."
