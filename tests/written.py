"""Cases as tests write them: the invented car of the long example, all questions answered, and a log."""

from __future__ import annotations

from textwrap import dedent, indent

from command import TOP
from knockon.engine.diagnostics.message import Messages
from knockon.engine.load.case import build_case
from knockon.engine.load.tree import parse_tree
from knockon.engine.load.validate import validate
from knockon.engine.measure.log_readings import Assessment, assess_entry, check_readings
from knockon.engine.model.case import Case
from knockon.engine.model.program import Program

EXAMPLE = TOP / "examples" / "first-notice-to-delivery" / "case.yaml"
ANSWERED = EXAMPLE.read_text("utf-8").split("\nprocedures:")[0] + "\n"


def procedure(operation: str, limits: str = "{}", verdict: str = "required") -> str:
    """One look-up with its limits."""
    return (
        f"  - {{operation: {operation}, document: manual, version: 4, looked_up: 2026-03-01, "
        f"verdict: {verdict}, limits: {limits}}}\n"
    )


def written(log: str = "", procedures: str = "", head: str = ANSWERED) -> str:
    """The text of a case file."""
    text = head + (f"\nprocedures:\n{procedures}" if procedures else "")
    return text + (f"\nlog:\n{indent(dedent(log).strip(chr(10)), '  ')}\n" if log else "")


def read(text: str, program: Program, messages: Messages | None = None) -> Case:
    """The case of a text; InputError as when the command reads it."""
    messages = messages if messages is not None else Messages()
    tree = parse_tree(text, "case.yaml", messages)
    assert tree is not None
    assert validate(tree, "case", messages), [m.text for m in messages]
    return build_case(tree, program, messages)


def said_of_readings(text: str, program: Program) -> list[tuple[str, str, int]]:
    """Cause, next step and line of every message on readings and limits."""
    messages = Messages()
    check_readings(read(text, program, messages), program, messages)
    return [(m.text, m.next_step, m.culprits[0].span.line) for m in messages if m.code == "KN320"]


def judged(log: str, program: Program, procedures: str = "") -> Assessment:
    """The assessment of the last entry of a log."""
    case = read(written(log, procedures), program)
    return assess_entry(case.log[-1], case, program)
