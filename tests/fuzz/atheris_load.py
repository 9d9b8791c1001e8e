"""Coverage-guided fuzzing of the YAML reader and the case loader; not collected by pytest. See README.md here."""

from __future__ import annotations

import sys
import time

import atheris

with atheris.instrument_imports(include=["knockon.engine.load", "knockon.engine.measure"]):
    from knockon.engine.diagnostics.message import InputError, Messages
    from knockon.engine.load.cache import built_in_folders
    from knockon.engine.load.case import build_case
    from knockon.engine.load.pack import load_program
    from knockon.engine.load.tree import parse_tree
    from knockon.engine.load.validate import validate
    from knockon.engine.measure.log_readings import check_readings
    from knockon.engine.render.messages import messages_text
    from knockon.engine.render.plain import Page

PROGRAM = load_program(built_in_folders())
SECONDS = 5.0


def one(data: bytes) -> None:
    """An answer or messages, soon; anything else ends the fuzzing with the input that did it."""
    begun, messages = time.monotonic(), Messages()
    tree = parse_tree(data.decode("utf-8", "replace"), "case.yaml", messages)
    try:
        if tree is not None and validate(tree, "case", messages):
            check_readings(build_case(tree, PROGRAM, messages), PROGRAM, messages)
    except InputError as error:
        assert error.messages is messages
    assert (tree is not None) or messages.errors
    messages_text(messages, Page(60))
    assert time.monotonic() - begun < SECONDS


if __name__ == "__main__":
    atheris.Setup(sys.argv, one)
    atheris.Fuzz()
