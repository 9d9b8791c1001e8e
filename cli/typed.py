"""The command line as the command-line library reads it: options, help, completion, and what is wrong with it."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from typing import Annotated, Any, get_type_hints

import typer

from ..engine.model.version import VERSION
from . import options
from .commands import COMMANDS, command

app = typer.Typer(
    name="knockon",
    help="From the facts of a collision to every scan, check and recalibration the vehicle needs, each line justified.",
    no_args_is_help=True,
    add_completion=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _version(value: bool) -> None:
    if value:
        typer.echo(f"knockon {VERSION}")
        raise typer.Exit


@app.callback()
def whole(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
    debug: Annotated[bool, typer.Option("--debug", help="Show the traceback of an internal fault.")] = False,
) -> None:
    """Decide, justify and keep true what a vehicle needs after a collision."""
    if debug:
        os.environ["KNOCKON_DEBUG"] = "1"


def typed() -> Callable[[], int]:
    """What runs the command of this call; it returns the exit code. EOFError when the input ends before the answer."""
    _register(_words())
    return _run


def _run() -> int:
    try:
        code = int(app(standalone_mode=False) or 0)
    except typer.Abort as ended:
        raise EOFError from ended
    if code == 130:  # the command-line library has turned Ctrl-C into a number
        raise KeyboardInterrupt
    return code


def _register(words: list[str]) -> None:
    """Attach the command that was asked for; all of them, as names with a summary, when none was."""
    wanted = next((w for w in words if not w.startswith("-")), "")
    if wanted not in COMMANDS:
        for name, (_, _, summary) in COMMANDS.items():
            app.command(name, help=summary)(_named)
        return
    found = command(wanted)
    if isinstance(found, typer.Typer):
        app.add_typer(found, name=wanted)
    else:
        app.command(wanted)(_described(found))


def _described(found: Any) -> Any:
    """A command with its options in its signature; a command that runs without the library only names them."""
    found.__annotations__ = get_type_hints(found, vars(options) | found.__globals__, include_extras=True)
    return found


def _named() -> None:
    """Stands for a command in the list of commands."""


def _words() -> list[str]:
    """The words of this call, or those on the line the shell wants completed."""
    if "_KNOCKON_COMPLETE" in os.environ:
        from .completion import typed_so_far

        return typed_so_far(dict(os.environ))
    return sys.argv[1:]
