"""The command line: commands, and the one place where problems become messages and exit codes.

Exit codes: 0 done; 1 done, but something waits for the caller; 2 wrong input; 3 internal fault; 130 stopped by Ctrl-C.
"""

from __future__ import annotations

import os
import sys
from contextlib import suppress
from importlib import import_module
from typing import Annotated

import typer

from ..engine.diagnostics.message import InferenceFault, InputError, Messages
from ..engine.model.span import Span
from ..engine.model.version import VERSION
from ..engine.render.plain import clean
from .memory import kept
from .page import err_page

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
def options(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
    debug: Annotated[bool, typer.Option("--debug", help="Show the traceback of an internal fault.")] = False,
) -> None:
    """Decide, justify and keep true what a vehicle needs after a collision."""
    if debug:
        os.environ["KNOCKON_DEBUG"] = "1"


# name -> module, function, what `--help` says; a command is imported only when it is asked for
COMMANDS = {
    "intake": ("intake", "intake", "Ask for what is missing, the question that matters most first."),
    "plan": ("plan", "plan", "Print what this vehicle needs, each line with facts, rules and sources."),
    "why": ("why", "why", "Explain why a line is on the plan."),
    "why-not": ("whynot", "why_not", "Explain why an operation is not on the plan."),
    "record": ("record", "record", "Append a result, an event or a waiver to the log."),
    "supplement": ("supplement", "supplement", "Show what changed between two states of a case, and why."),
    "handover": ("handover", "handover", "Say what is documented, and what is missing before delivery."),
    "pack": ("pack", "pack_app", "The bench of whoever maintains rule packs."),
    "batch": ("batch", "batch", "Plan many cases at once."),
    "schema": ("schema", "schema", "Print the JSON Schema of a file, with the ids of the packs in use."),
}


def register(words: list[str]) -> None:
    """Attach the command that was asked for; all of them, as names with a summary, when none was."""
    wanted = next((w for w in words if not w.startswith("-")), "")
    if wanted not in COMMANDS:
        for name, (_, _, summary) in COMMANDS.items():
            app.command(name, help=summary)(_named)
        return
    module, function, _ = COMMANDS[wanted]
    command = getattr(import_module(f".{module}", __package__), function)
    if isinstance(command, typer.Typer):
        app.add_typer(command, name=wanted)
    else:
        app.command(wanted)(command)


def _named() -> None:
    """Stands for a command in the list of commands."""


def _words() -> list[str]:
    """The words of this call, or those on the line the shell wants completed."""
    if "_KNOCKON_COMPLETE" in os.environ:
        from .completion import typed_so_far

        return typed_so_far(dict(os.environ))
    return sys.argv[1:]


def main() -> None:
    """Run a command; no traceback ever reaches a user unless asked for."""
    try:
        _streams()
        with kept():
            register(_words())
        code = int(app(standalone_mode=False) or 0)
        sys.stdout.flush()
        if code == 130:  # the command-line library has turned Ctrl-C into a number
            raise KeyboardInterrupt
    except InputError as error:
        from ..engine.render.messages import messages_text

        _say(messages_text(error.messages, err_page()))
        code = 2
    except InferenceFault as fault:
        _say(
            f"KN900 fault: {fault.text}\n   = there is no plan; next: report this with the case and the packs"
        )
        code = 3
    except typer.Exit as done:
        code = _flushed(done.exit_code)
    except typer.Abort:
        _say("\nthe input ended before the answer; nothing was written")
        code = 1
    except KeyboardInterrupt:
        _say("\nstopped; nothing was lost")
        code = 130
    except BrokenPipeError:
        _give_up_stdout()
        code = 0
    except OSError as error:
        code = _of_the_system(error)
    except Exception as error:
        code = _unexpected(error)
    sys.exit(code)


def _streams() -> None:
    """A stream that was closed swallows what it is given; what an encoding lacks never ends the command."""
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, mode))  # noqa: SIM115 - as long as the process lives
    if hasattr(sys.stdout, "reconfigure"):
        sys.stdout.reconfigure(errors="replace")


def _flushed(code: int) -> int:
    """The exit code, once the whole answer is with its reader."""
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        _give_up_stdout()
    except OSError as error:
        return _of_the_system(error)
    return code


def _give_up_stdout() -> None:
    with suppress(OSError):  # some streams have no number
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _of_the_system(error: OSError) -> int:
    """A disk that is full, a name that is too long: nothing of ours, and nothing a traceback would explain."""
    from ..engine.render.messages import message_text

    messages, reason = Messages(), (error.strerror or str(error)).lower()
    if error.filename is None:
        step = "check where the answer goes, and its space"
        messages.add("KN503", f"cannot read or write: {reason}", next_step=step)
        _give_up_stdout()
    else:
        name = os.fsdecode(error.filename) if isinstance(error.filename, bytes) else str(error.filename)
        step = "check the name, its folder and its rights"
        messages.add("KN101", f"cannot use `{name}`: {reason}", Span(name, 1, 1), next_step=step)
    # it does not say that nothing was done: a file may be written already
    _say(message_text(messages.items[0], {}, err_page()))
    return 2


def _unexpected(error: Exception) -> int:
    explain = getattr(error, "format_message", None)  # a usage error of the command-line library
    if explain is not None:
        said = explain().replace("Value error, ", "")  # the library's own word, which says nothing
        _say(f"KN902 error: {said}\n   = next: `knockon --help` or `knockon COMMAND --help`")
        return 2
    if os.environ.get("KNOCKON_DEBUG"):
        import traceback

        traceback.print_exc()
    _say(
        f"KN901 fault: {type(error).__name__}: {error}\n   = next: run again with `knockon --debug ...` and report it"
    )
    return 3


def _say(text: str) -> None:
    with suppress(OSError):
        print(clean(text), file=sys.stderr, flush=True)
