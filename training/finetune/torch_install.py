"""Whether torch is installed: only the full recipe and making the shipped network need it; it is most of an install."""

from __future__ import annotations

import sys
from importlib import import_module

from model.errors import SwardkeyError


class InstallError(SwardkeyError):
    """A part is missing that a plain install leaves out. Add it by the command that the message names."""


def need_torch(what: str) -> None:
    """Load torch for ``what``. Raises InstallError, naming the command that adds it, where it is not installed."""
    try:
        import_module("torch")
    except ModuleNotFoundError as missing:
        if missing.name != "torch":  # torch is there, and its own install is broken
            raise
        raise InstallError(
            f"{what} needs torch, which is not installed; add it with pip install 'swardkey[full]', "
            "or in the folder of the source pip install --editable '.[full]'"
        ) from None


def exit_without_torch(what: str) -> None:
    """For modules run as commands, before they import torch: end with one sentence and 2 where it is not installed."""
    try:
        need_torch(what)
    except InstallError as error:
        sys.stderr.write(f"{error}\n")
        sys.exit(2)
