"""The console script ``swardkey``: commands, and the one place where errors become sentences."""

from __future__ import annotations

import errno
import gc
import os
import sys
import traceback
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from app.commands.advise import advise, year
from app.commands.check_photos import check
from app.commands.collect import collect
from app.commands.draw import draw
from app.commands.json_output import print_json
from app.commands.judge_spraying import degree_days, window
from app.commands.learn_slips import slips
from app.commands.manage_models import measure, models
from app.commands.read_label import label
from app.commands.train import train
from app.services.home import fault_file, home
from model.errors import SwardkeyError

if TYPE_CHECKING:
    from model.identify import Key
    from model.traits import Answers, Visible

NO_ROOM_OR_RIGHTS = (errno.ENOSPC, errno.EDQUOT, errno.EROFS, errno.EACCES, errno.EPERM)

cli = typer.Typer(
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    help="Name a lawn or garden weed from photos and a few questions, and prove the name.",
)

Photos = Annotated[list[Path] | None, typer.Argument(metavar="PHOTO...", help="Photos of one plant, or a folder.")]
AnswersFile = Annotated[
    Path | None,
    typer.Option("--answers", metavar="FILE", help="YAML: `character: state` on each line, `visible: [leaves]`."),
]
Month = Annotated[int | None, typer.Option("--month", min=1, max=12, help="Month of the photo or visit, 1 to 12.")]
Region = Annotated[
    str | None,
    typer.Option(
        "--region",
        help="By which region's weeds to go, of configs/prior.yaml; none: all weeds count alike.",
        show_default="southern_australia",
    ),
]
Sight = Annotated[
    str | None,
    typer.Option(
        "--visible",
        metavar="PARTS",
        help="What can be seen or reached: leaves, flowers, seeds, roots, with commas; else as the answer file says.",
    ),
]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")]


@cli.command()
def identify(
    photos: Photos = None,
    answers: AnswersFile = None,
    month: Month = None,
    region: Region = None,
    visible: Sight = None,
    shard: Annotated[str | None, typer.Option("--shard", metavar="2/8", help="Of a folder: this share.")] = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE.csv", help="Of a folder: rows go here; a second run goes on.")
    ] = None,
    workers: Annotated[int | None, typer.Option(min=1, max=64, help="Of a folder: processes.")] = None,
    as_json: Json = False,
) -> None:
    """Name the plant in the photos, with the answers in a file if there are any; or each photo of a folder."""
    if shard is not None or out is not None or any(photo.is_dir() for photo in photos or ()):
        from app.commands.identify_folder import identify_folder

        identify_folder(
            photos, shard=shard, out=out, answers=answers, visible=visible, month=month, region=region,
            workers=workers, as_json=as_json,
        )  # fmt: skip
        return
    from app.services.knowledge import load_key
    from model.identify import identify as find
    from model.prior import region_named

    if not photos and answers is None:
        raise SwardkeyError("nothing to go by: name a photo, or a file of answers with --answers")
    key = load_key()
    given, seen = told_of(key, answers, visible)
    region = region_named(key.prior_config, region)
    finding = find(key, given, look_at(photos), month, region, seen)
    if as_json:
        from app.present.deciding import finding_json

        print_json(finding_json(finding, key, given))
    else:
        from app.present.identification import print_finding

        print_finding(finding, key, given)


@cli.command()
def ask(
    photos: Photos = None,
    answers: AnswersFile = None,
    month: Month = None,
    region: Region = None,
    visible: Sight = None,
    as_json: Json = False,
) -> None:
    """Ask in the terminal what can be seen, then one question at a time, until the name is proven."""
    from app.commands.ask import hold_interview
    from app.present.deciding import finding_json
    from app.services.knowledge import load_key
    from model.interview import Interview
    from model.prior import region_named

    key = load_key()
    given, seen = told_of(key, answers, visible)
    region = region_named(key.prior_config, region)
    start = Interview(key, look_at(photos), month, region, given, seen)
    # With --json, all that is said to the person goes to standard error.
    end = hold_interview(start, quiet_output=as_json)
    if as_json:
        print_json(finding_json(end.finding, key, end.answers))


@cli.command()
def serve(
    port: Annotated[int, typer.Option(help="Port.", min=1024, max=65535)] = 7860,
    open_browser: Annotated[bool, typer.Option("--open", help="Open the page in the browser.")] = False,
    network: Annotated[
        bool, typer.Option("--network", help="Let other machines of this network in, with a password.")
    ] = False,
) -> None:
    """Serve the web pages on this machine; with --network to the whole network, for a password."""
    from app.web.network import ask_password
    from app.web.serving import serve_page

    serve_page(port, open_browser, ask_password() if network else None)


cli.command()(advise)
cli.command()(year)
cli.command()(window)
cli.command()(degree_days)
collect.command("check")(check)
cli.add_typer(collect, name="collect")
cli.add_typer(models, name="models")
cli.command()(measure)
cli.command()(train)
cli.command()(draw)
cli.command()(slips)
cli.add_typer(label, name="label")


def told_of(key: Key, answers: Path | None, visible: str | None) -> tuple[Answers, Visible | None]:
    """The answers of a file, and what can be seen: as it was typed, else as the file says, else not told."""
    from model.traits import check_visible, read_answers

    given, seen = read_answers(answers, key.flora.characters) if answers is not None else ({}, None)
    return given, check_visible(visible) if visible is not None else seen


def look_at(photos: list[Path] | None) -> Any:
    """Evidence of the photos, or None without any; deep learning is imported only here."""
    if not photos:
        return None
    from app.services.photo_model import evidence_of

    return evidence_of(photos)


def usage_sentence(error: typer.TyperException) -> str:
    """A mistake in the command itself, in one sentence."""
    told = getattr(error, "format_message", lambda: str(error))()
    return f"{' '.join(str(told).split()).rstrip('.') or 'name a command'}; see swardkey --help"


@lru_cache(maxsize=1)
def add_desk_work() -> None:
    """Load the sums, records and papers, which take half a second that naming a plant need not wait for."""
    from app.commands.back_up import backup, restore
    from app.commands.demo import demo
    from app.commands.keep_records import records
    from app.commands.mix import mix
    from app.commands.print_key import key
    from app.commands.print_papers import papers

    cli.command()(demo)
    cli.add_typer(mix, name="mix")
    cli.command()(key)
    cli.add_typer(papers, name="print")
    cli.add_typer(records, name="records")
    cli.command()(backup)
    cli.command()(restore)


def main(arguments: list[str] | None = None) -> None:
    """Run a command; a person never sees a traceback.

    Exit status 0 when it worked, 2 for bad input, 1 for a fault of ours, 130 when stopped.
    """
    given = sys.argv[1:] if arguments is None else arguments
    if given and given[0] in ("identify", "ask", "serve"):
        # Sums this small are done sooner by one thread; on a busy machine several wait for one another for seconds.
        os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
        # Nothing that is loaded is ever thrown away, so looking for what could be is a tenth of the start for nothing.
        gc.freeze()
        gc.set_threshold(100_000)
    if not given or given[0] not in ("identify", "ask"):
        add_desk_work()
    try:
        if (home() / ".restored").is_dir():
            # A restore that was interrupted once its files were in place is brought to its end.
            from app.records.switch import finish_restore

            finish_restore(home())
        status = cli(arguments, standalone_mode=False)
        sys.exit(status if isinstance(status, int) else 0)
    except SwardkeyError as error:
        sys.stderr.write(f"swardkey: {error}\n")
        sys.exit(2)
    except typer.TyperException as error:
        sys.stderr.write(f"swardkey: {usage_sentence(error)}\n")
        sys.exit(2)
    except (KeyboardInterrupt, typer.Abort):
        sys.stderr.write("swardkey: stopped\n")
        sys.exit(130)
    except Exception as error:
        if isinstance(error, OSError) and error.errno in NO_ROOM_OR_RIGHTS:
            where = error.filename or "the disk"
            sys.stderr.write(f"swardkey: {where}: {error.strerror}; make room or fix its permissions, and try again\n")
            sys.exit(2)
        sys.stderr.write(f"swardkey: a fault of the program ({type(error).__name__}); {_kept_fault()}\n")
        sys.exit(1)


def _kept_fault() -> str:
    try:
        file = fault_file()
        file.write_text(traceback.format_exc(), encoding="utf-8")
    except OSError:
        return "what happened could not be written down"
    return f"please send in {file}"
