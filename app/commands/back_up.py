"""The commands `backup` and `restore`: one zip of everything that matters, and back again."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from app.commands.json_output import print_json
from app.services.home import home
from app.services.progress import bar

Json = Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")]


def backup(
    file: Annotated[Path, typer.Argument(metavar="FILE.zip", help="The new file; it must not be there yet.")],
    as_json: Json = False,
) -> None:
    """Put records, photos, collection, models, species of your own and work in progress into one zip."""
    from app.records import back_up
    from app.records.serialization import plain

    with bar("backing up", None, as_json) as progress:
        done = back_up(home(), file, progress=progress)
    if as_json:
        print_json(plain(done))
        return
    told = f"{done.file}: {done.files} files, {done.bytes / 1e6:.1f} MB ({', '.join(done.folders)}), read back"
    sys.stdout.write("".join(line + "\n" for line in (*done.notes, told)))


def restore(
    file: Annotated[Path, typer.Argument(metavar="FILE.zip", help="A backup.")],
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask before restoring.")] = False,
    as_json: Json = False,
) -> None:
    """Bring back a backup, once all of it is checked; what is there now is kept aside."""
    from app.records import RecordsError, plan_restore
    from app.records import restore as bring_back
    from app.records.serialization import plain

    plan = plan_restore(file, home())
    if not as_json:
        sys.stdout.write(f"{plan}\n")
    if not yes:
        if as_json or not sys.stdin.isatty():
            raise RecordsError(f"{file}: can be restored; give --yes to do it")
        typer.confirm("Restore it?", abort=True)
    with bar("restoring", plan.files, as_json) as progress:
        bring_back(plan, progress=progress)
    if as_json:
        print_json(plain(plan))
    else:
        sys.stdout.write("restored\n")
