"""The commands, and the short road to those that are given their arguments and nothing else.

The command-line library takes longer to load than a plan to make. It is left out where there is nothing for it to
do: the defaults are those of the command's own signature, which it reads too.
"""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import Any

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
PLAIN: dict[str, tuple[type[Path] | type[str], ...]] = {  # what the arguments are, in their order
    "plan": (Path,),
    "why": (Path, str),
    "why-not": (Path, str),
    "supplement": (Path, Path),
    "handover": (Path,),
}


def command(name: str) -> Any:
    """The function of a command, or its group of commands."""
    module, function, _ = COMMANDS[name]
    return getattr(import_module(f".{module}", __package__), function)


def straight(words: list[str]) -> Callable[[], int] | None:
    """What runs a command, when the words are its name and its arguments; None when they are anything else.

    It returns the exit code.
    """
    name, *given = words or [""]
    kinds = PLAIN.get(name, ())
    if not kinds or len(given) != len(kinds) or any(word.startswith("-") for word in given):
        return None
    run = command(name)
    return lambda: int(run(*[kind(word) for kind, word in zip(kinds, given, strict=True)]) or 0)
