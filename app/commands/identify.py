"""The command `identify`: one plant from photos and answers, or each photo of a folder."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from app.commands.json_output import Json, print_json
from app.commands.options import AnyMonth, Visit, option
from app.commands.terminal import progress_bar, say
from model.errors import StoppedError
from model.text import counted

if TYPE_CHECKING:
    from app.services.batch import Batch

Photos = Annotated[list[Path] | None, typer.Argument(metavar="PHOTO...", help="Photos of one plant, or a folder.")]
AnswersFile = Annotated[
    Path | None,
    option("FILE", "Your answers (YAML): `character: state` on each line, `visible: [leaves]`.", "--answers"),
]
Region = Annotated[
    str | None,
    option("REGION", "How common each weed is: southern_australia (the default), or none to treat all alike."),
]
Visible = Annotated[
    str | None,
    option(
        "PARTS",
        "What can be seen: leaves, flowers, seeds, roots, with commas; overrides the file of answers.",
        "--visible",
    ),
]


def identify(
    photos: Photos = None,
    answers: AnswersFile = None,
    month: AnyMonth = None,
    region: Region = None,
    visible: Visible = None,
    visit: Visit = None,
    shard: Annotated[str | None, option("2/8", "Of a folder: only this share, as the second of eight.")] = None,
    out: Annotated[Path | None, option("FILE.csv", "Of a folder: write rows here; a second run continues it.")] = None,
    workers: Annotated[
        int | None,
        typer.Option(min=1, max=64, help="Of a folder: photos named at the same time; else one a processor."),
    ] = None,
    as_json: Json = False,
) -> None:
    """Name the plant in the photos, with the answers in a file if there are any; or each photo of a folder.

    Examples:
        swardkey identify leaf.jpg flower.jpg
        swardkey identify leaf.jpg --answers answers.yaml --month july
        swardkey identify FOLDER --out names.csv
    """
    if shard is not None or out is not None or any(photo.is_dir() for photo in photos or ()):
        from app.services.batch import check_batch  # only here: one plant needs no pool of processes

        one = {"--answers": answers, "--visible": visible, "--visit": visit}
        batch = check_batch(
            photos or (), shard=shard, out=out, month=month, region=region, workers=workers, of_one_plant=one
        )
        run_batch(batch, as_json)
        return
    from app.services.interview import identify

    if visit is not None:
        from app.services.visit_keeping import keep_finding, open_visit

        month = month or open_visit(visit).day.month
    known = identify(photos or (), answers, visible, month, region)
    if visit is not None:
        keep_finding(visit, known, photos or ())
    # Only what is printed is imported, for the start's sake.
    if as_json:
        from app.present.deciding import finding_json

        print_json(finding_json(known.finding, known.key, known.answers))
    else:
        from app.present.identification import print_finding

        print_finding(known.finding, known.key, known.answers)


def run_batch(batch: Batch, as_json: bool) -> None:
    """Name the photos of a folder, and print their rows or where they are, and how many were named."""
    from app.services.batch_table import outcomes

    rows, done = [], 0
    table = batch.table
    try:
        # Closed at once when interrupted, so that photos that wait are not named after all.
        with progress_bar("naming", len(batch.left), quiet=as_json) as progress, closing(batch.rows()) as named:
            for done, row in enumerate(named, start=1):
                rows.append(row)
                if table is None and not as_json:
                    say(str(row))
                progress(done)
    except KeyboardInterrupt:
        kept = f"{done} rows kept in {table.path}; run it again to continue" if table else f"{done} photos done"
        raise StoppedError(kept) from None
    if as_json:
        found = [row.as_json() for row in (table.rows() if table else rows)]
        print_json({"photos": len(found), "rows": found})
        return
    say(f"{counted(done, 'photo')} looked at: {outcomes(rows)}")
    if table:
        say(f"{batch.before} before; all rows are in {table.path}")
