"""The command line: commands, and the one place where problems become messages and exit codes.

Exit codes: 0 done; 1 done, but something waits for the caller; 2 wrong input; 3 internal fault; 130 stopped by Ctrl-C.
"""

from __future__ import annotations

import os
import sys
from contextlib import suppress

from ..engine.diagnostics.message import InferenceFault, InputError, Messages
from ..engine.model.span import Span
from .commands import straight
from .memory import kept


def main() -> None:
    """Run a command; no traceback ever reaches a user unless asked for."""
    reader_gone = 1  # what the command-line library says when nobody reads on before the command has ended
    try:
        _streams()
        with kept():
            run = None if "_KNOCKON_COMPLETE" in os.environ else straight(sys.argv[1:])
            if run is None:
                from .typed import typed

                run = typed()
        code = run()
        reader_gone = 0
        sys.stdout.flush()
    except InputError as error:
        from ..engine.render.messages import messages_text
        from .page import err_page

        _say(messages_text(error.messages, err_page()))
        code = 2
    except InferenceFault as fault:
        _say(
            f"KN900 fault: {fault.text}\n   = there is no plan; next: report this with the case and the packs"
        )
        code = 3
    except EOFError:
        _say("\nthe input ended before the answer; nothing was written")
        code = 1
    except KeyboardInterrupt:
        _say("\nstopped; nothing was lost")
        code = 130
    except BrokenPipeError:
        _give_up_stdout()
        code = reader_gone
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


def _give_up_stdout() -> None:
    with suppress(OSError):  # some streams have no number
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _of_the_system(error: OSError) -> int:
    """A disk that is full, a name that is too long: nothing of ours, and nothing a traceback would explain."""
    from ..engine.render.messages import message_text
    from .page import err_page

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
    from ..engine.render.plain import clean

    with suppress(OSError):
        print(clean(text), file=sys.stderr, flush=True)
