"""The commands `backup` and `restore`: one zip of everything that matters, and back again."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from app.commands.json_output import Json, answer
from app.commands.terminal import is_interactive, on_interrupt, progress_bar, say
from app.records import RecordsError, back_up, plan_restore
from app.records import restore as bring_back
from app.records.serialization import plain
from app.records.switch import restore_is_pending
from app.services.home import home
from model.errors import StoppedError
from model.text import counted


def backup(
    file: Annotated[Path, typer.Argument(metavar="FILE.zip", help="The new file; it must not exist yet.")],
    as_json: Json = False,
) -> None:
    """Put records, photos, collection, models, species of your own, labels, slips and work in progress into one zip.

    Examples:
        swardkey backup swardkey-2026-11-28.zip
    """
    stopped = "no backup was written, and your data are as they were; run the same command again"
    with on_interrupt(stopped), progress_bar("backing up", None, as_json) as progress:
        done = back_up(home(), file, progress=progress)
    size = f"{counted(done.files, 'file')}, {done.bytes / 1e6:.1f} MB ({', '.join(done.folders)})"
    mark = f"; mark of the record book {done.mark}" if done.mark else ""
    answer(as_json, plain(done), "\n".join([*done.notes, f"{done.file}: {size}, read back{mark}"]))


def restore(
    file: Annotated[Path, typer.Argument(metavar="FILE.zip", help="A backup.")],
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask before restoring.")] = False,
    unlisted: Annotated[
        bool, typer.Option("--unlisted", help="Also where signed.txt in it does not list all signed rows.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Restore a backup, once all of it is checked; your present files are set aside.

    Examples:
        swardkey restore swardkey-2026-11-28.zip
    """
    plan = plan_restore(file, home(), unlisted)
    if not as_json:
        say(*str(plan).splitlines())
    if not yes:
        if as_json or not is_interactive():
            raise RecordsError(f"{file}: can be restored; give --yes to do it")
        typer.confirm("Restore it?", abort=True)
    try:
        with progress_bar("restoring", plan.files, as_json) as progress:
            notes = bring_back(plan, progress=progress)
    except KeyboardInterrupt:
        if restore_is_pending(home()):
            raise StoppedError("all was checked by then, so the next start of swardkey completes it") from None
        raise StoppedError("nothing was restored, and your data are as they were; run the same command again") from None
    answer(as_json, plain(plan) | {"notes": list(notes)}, "\n".join([*notes, "restored"]))
