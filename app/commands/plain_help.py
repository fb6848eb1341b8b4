"""The text of --help, whole at any width, with examples as they are typed; and what is said of a wrong option."""

from __future__ import annotations

import re
import shutil
import sys
from collections.abc import Callable, Iterable
from textwrap import wrap
from typing import Any, TypeVar

import typer
from typer.core import TyperArgument, TyperCommand, TyperGroup

Function = TypeVar("Function", bound=Callable[..., Any])
EXAMPLES = "Examples:\n"
LEAST, NARROW, MOST = 36, 60, 80  # columns of a help text


class Commands(typer.Typer):
    """A group of commands whose help is plain text."""

    def __init__(self, help: str, **more: Any) -> None:
        super().__init__(cls=_Group, rich_markup_mode=None, help=help, **more)

    def command(self, name: str | None = None, **more: Any) -> Callable[[Function], Function]:
        """Add the function below as a command of this name, or of its own."""
        return super().command(name, cls=_Command, **more)


def help_width() -> int:
    """Columns that a help text may take in this terminal."""
    return max(LEAST, min(MOST, shutil.get_terminal_size().columns))


def usage_sentence(error: typer.TyperException, program: str) -> str:
    """A mistake in the command itself, in one sentence that says what to do and where its help is."""
    message = str(getattr(error, "format_message", lambda: str(error))())
    if error.__cause__ is not None:
        from pydantic import ValidationError  # only here: a command that is right does not wait for it

        from model.validation import first_cause

        if isinstance(error.__cause__, ValidationError):
            message = message.replace(getattr(error, "message", ""), first_cause(error.__cause__))
    message = re.sub(r"^Invalid value for '(.+?)'", r"\1", message).replace("Missing command", "name a command")
    message = re.sub(r" \(Possible options: (.+)\)", r". Did you mean \1?", message)
    sentence = " ".join(message.split()).rstrip(".")
    context = getattr(error, "ctx", None)
    help = f"see {context.command_path if context is not None else program} --help"
    return f"{sentence} ({help})" if ";" in sentence or sentence.endswith("?") else f"{sentence}; {help}"


class _Command(TyperCommand):
    """A command whose docstring may end in a paragraph ``Examples:``, a line each."""

    def collect_usage_pieces(self, ctx: Any) -> list[str]:
        return [self.options_metavar or "", *(_usage_of(one) for one in self.params if isinstance(one, TyperArgument))]

    def format_help_text(self, ctx: Any, formatter: Any) -> None:
        text = self.help or ""
        self.help, _, examples = text.partition(EXAMPLES)
        super().format_help_text(ctx, formatter)
        self.help = text
        if examples:
            with formatter.section("Examples"):
                indent = " " * formatter.current_indent
                for line in examples.split("\n"):
                    kept = wrap(line.strip(), formatter.width, initial_indent=indent, subsequent_indent=f"{indent}    ")
                    formatter.write("".join(f"{one}\n" for one in kept))

    def format_options(self, ctx: Any, formatter: Any) -> None:
        _write_parameters(self.get_params(ctx), ctx, formatter)


class _Group(TyperGroup):
    """A group that lists its commands with their whole first sentence, also where none was named."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        if not args and not self.invoke_without_command and not ctx.resilient_parsing:
            sys.stdout.write(f"{ctx.get_help()}\n")
        return super().parse_args(ctx, args)

    def format_options(self, ctx: Any, formatter: Any) -> None:
        _write_parameters(self.get_params(ctx), ctx, formatter)
        self.format_commands(ctx, formatter)

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        rows = []
        for name, command in self.commands.items():
            words = command.short_help or (command.help or "").partition("\n\n")[0]
            rows.append((name, " ".join(words.split())))
        with formatter.section("Commands"):
            _write_rows(rows, formatter)


def _usage_of(argument: TyperArgument) -> str:
    name = argument.metavar or str(argument.name).upper()
    return name if argument.required else f"[{name}]"


def _write_parameters(parameters: Iterable[Any], ctx: Any, formatter: Any) -> None:
    """The arguments, then the options, each with its help; an argument by its name without a type of the language."""
    arguments, options = [], []
    for one in parameters:
        if (found := one.get_help_record(ctx)) is None:
            continue
        name, words = found
        if isinstance(one, TyperArgument):
            arguments.append((one.metavar or str(one.name).upper(), _in_words(words.replace("[required]", ""))))
        else:
            options.append((_without_types(name), _in_words(words)))
    for title, rows in (("Arguments", arguments), ("Options", options)):
        if rows:
            with formatter.section(title):
                _write_rows(rows, formatter)


def _write_rows(rows: list[tuple[str, str]], formatter: Any) -> None:
    """Two columns; a name too long for the first has a line of its own, as nearly all have in a narrow terminal."""
    formatter.write_dl(rows, col_max=26 if formatter.width >= NARROW else 6)


def _without_types(name: str) -> str:
    """The name of an option, and what it takes where the program gives no word for it.

    >>> _without_types("--side <int range>"), _without_types("--client <str>"), _without_types("--out FILE")
    ('--side NUMBER', '--client TEXT', '--out FILE')
    """
    return re.sub(r"<(?:int|float)(?: range)?>", "NUMBER", name).replace("<str>", "TEXT")


def _in_words(help: str) -> str:
    """Ranges in words.

    >>> _in_words("Its number.  [x>=1]"), _in_words("Width.  [default: 412; 64<=x<=2000]"), _in_words("A.  [required]")
    ('Its number.', 'Width.  [default: 412; 64 to 2000]', 'A.  [required]')
    """
    text = re.sub(r"([\d.]+)<=x<=([\d.]+)", r"\1 to \2", help)
    text = re.sub(r"; x>=[01]\b|\bx>=[01]; ", "", text)
    return re.sub(r"\s*\[x>=[01]\]", "", text)
