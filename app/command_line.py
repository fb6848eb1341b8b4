"""The console script ``swardkey``: its commands, and the one place where errors become sentences."""

from __future__ import annotations

import gc
import json
import os
import sys
import traceback
from importlib import import_module
from typing import Annotated, Any

import typer

from app.commands.plain_help import Commands, help_width, usage_sentence
from app.services.home import fault_file, home, keep_private, program_version, refused_by_disk, settle_slips_file
from model.errors import StoppedError, SwardkeyError

# Where each command is and what it does, in the order of --help. Only the one that is run is imported, for a quick
# start; tests/app/test_command_line.py checks the words against the commands' own.
COMMANDS = {
    "identify": ("identify", "Name the plant in the photos, with the answers in a file if there are any."),
    "ask": ("ask", "Ask in the terminal, one question at a time, until the name is confirmed."),
    "request": ("request", "Ask whoever has the plant: a message to send, and a page with drawings to tap."),
    "serve": ("serve", "Serve the web pages on this machine, or with --network on the whole network."),
    "advise": ("advise", "Say what to do about a weed on this lawn in this month, or in --month."),
    "year": ("advise", "Show a weed's year: when it germinates, flowers and seeds, and when to act."),
    "window": ("judge_spraying", "Say whether to spray: go, caution or stop, with every reason."),
    "degree-days": ("judge_spraying", "Add up degree-days, and compare the total with published thresholds."),
    "mix": ("mix", "Do the sums of spraying, spreading and feeding, with the working."),
    "label": ("read_label", "Record that you have read a label that names this lawn."),
    "key": ("print_key", "Make a dichotomous key of the flora, for printing."),
    "print": ("print_papers", "Make the papers of the job: PDF, CSV, calendar, Darwin Core."),
    "records": ("keep_records", "Keep clients, sites, visits and spray records; sign and amend them."),
    "backup": ("back_up", "Put records, photos, collection and models into one zip."),
    "restore": ("back_up", "Restore a backup, once all of it is checked."),
    "collect": ("collect", "Keep your own labelled photos, from which the photo model learns."),
    "measure": ("manage_models", "Measure a photo model on labelled photos that it has not learned from."),
    "train": ("train", "Learn from your collection; a new model must prove itself before it is used."),
    "models": ("manage_models", "Your own photo models: list them, activate one, or go back."),
    "slips": ("learn_slips", "Learn from your records how often people mistake one thing for another."),
    "draw": ("draw", "Draw a picture of a species from its characters; never a photo."),
    "settings": ("your_place", "Save your state and business details once: advice and new records start from them."),
    "where": ("your_place", "Show where your data lie, and how to move them, upgrade and remove the program."),
    "demo": ("demo", "Show what swardkey does in an invented town, with drawn photos."),
}
PROGRAM = "swardkey"
READER_GONE = 141  # the exit status once nobody reads the output, as SIGPIPE would end it
STOPPED = 130  # the exit status after Ctrl-C


def command_line(wanted: str = "") -> typer.Typer:
    """The command line with one command ready to run; the others are there by name, for --help and for slips."""
    cli = Commands(
        context_settings={"help_option_names": ["-h", "--help"], "terminal_width": help_width()},
        pretty_exceptions_enable=False,
        help="Name a lawn or garden weed from photos and a few questions, and prove the name.",
    )
    cli.callback()(_of_all)
    for name, (_, summary) in COMMANDS.items():
        command = command_named(name) if name == wanted else lambda: None
        if isinstance(command, typer.Typer):
            cli.add_typer(command, name=name)
        else:
            cli.command(name, short_help=summary)(command)
    return cli


def _print_version(wanted: bool) -> None:
    if wanted:
        sys.stdout.write(f"{PROGRAM} {program_version()}\n")
        raise typer.Exit


def _of_all(
    version: Annotated[
        bool,
        typer.Option("--version", callback=_print_version, is_eager=True, help="Print the version and stop."),
    ] = False,
) -> None:
    """Take the options of the program as a whole, which have done their work by then."""


def command_named(name: str) -> Any:
    """The function of a command, or the Typer of a group of commands; its module is imported."""
    module = import_module(f"app.commands.{COMMANDS[name][0]}")
    return getattr(module, {"print": "papers"}.get(name, name.replace("-", "_")))


def main(arguments: list[str] | None = None) -> None:
    """Run a command; a person never sees a traceback.

    Exit status 0 when it worked, 2 for bad input, 1 for a fault of ours, 130 when stopped, 141 when whoever read the
    output left before its end.
    """
    given = sys.argv[1:] if arguments is None else arguments
    as_json = "--json" in given
    if given and given[0] in ("identify", "ask", "request", "serve"):
        # Sums this small are done sooner by one thread; on a busy machine several wait for one another for seconds.
        os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    if not given or given[0] not in ("train", "collect", "measure"):
        # Nothing that is loaded is ever freed, so looking for garbage would be a tenth of the start for nothing.
        gc.freeze()
        gc.set_threshold(100_000)
    try:
        tidy_up()
        # The shell asks what may come next by the name of the program, with what was typed so far in a variable.
        typed = given or os.environ.get("_TYPER_COMPLETE_ARGS", os.environ.get("COMP_WORDS", "")).split()[1:]
        try:
            run = command_line(typed[0] if typed else "")
        except KeyboardInterrupt:
            raise StoppedError("nothing was begun yet") from None
        status = run(given, standalone_mode=False, prog_name=PROGRAM)
        sys.stdout.flush()
        if status == STOPPED:  # the library ends so at Ctrl-C, without a word
            _end(STOPPED, "stopped", as_json)
        sys.exit(status if isinstance(status, int) else 0)
    except (BrokenPipeError, SystemExit) as end:
        # Whoever read the output has seen enough, as `head` has. The libraries make an exit of what the pipe raised.
        if not isinstance(end, BrokenPipeError) and not isinstance(end.__context__, BrokenPipeError):
            raise
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(READER_GONE)
    except StoppedError as error:
        _end(STOPPED, f"stopped; {error}", as_json)
    except SwardkeyError as error:
        _end(2, str(error), as_json)
    except typer.TyperException as error:
        _end(2, usage_sentence(error, PROGRAM), as_json)
    except (KeyboardInterrupt, typer.Abort):
        _end(STOPPED, "stopped", as_json)
    except Exception as error:
        if refused := refused_by_disk(error):
            _end(2, refused, as_json)
        _end(1, f"a fault of the program ({type(error).__name__}); {_keep_traceback()}", as_json)
    finally:
        keep_private()


def tidy_up() -> None:
    """Complete a restore that was interrupted once its files were in place; remove what was left by killed ones."""
    keep_private()
    settle_slips_file()
    if (home() / ".restored").is_dir():
        from app.records.switch import finish_restore

        finish_restore(home())
    if any(home().glob(".restoring")) or any(home().glob(".gone-*")):
        from app.records.switch import sweep_restores

        sweep_restores(home())
    if any(home().glob(".backing-up-*")):
        from app.records.backup import sweep_backups

        sweep_backups(home())


def _end(status: int, message: str, as_json: bool) -> None:
    if as_json:
        sys.stderr.write(json.dumps({"error": message, "status": status}, ensure_ascii=False) + "\n")
    else:
        sys.stderr.write(f"{PROGRAM}: {message}\n")
    sys.exit(status)


def _keep_traceback() -> str:
    try:
        file = fault_file()
        file.write_text(traceback.format_exc(), encoding="utf-8")
    except OSError:
        return "the details could not be written down"
    return f"please send in {file}"
