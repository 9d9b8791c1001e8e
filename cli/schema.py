"""`knockon schema`: JSON Schemas for editors, with the ids of the packs in use."""

from __future__ import annotations

import sys
from enum import StrEnum
from typing import Annotated

import typer

from .inputs import read_program
from .options import PackDirs


class Kind(StrEnum):
    """Which file the schema is for."""

    CASE = "case"
    PACK = "pack"
    RULE = "rule"


def schema(
    kind: Annotated[Kind, typer.Argument(help="A case file, a pack.yaml, or a file of a pack's contents.")],
    pack: PackDirs = None,
) -> None:
    """Print the JSON Schema of a file, with the ids of the packs in use.

    Example: knockon schema case > case.schema.json
    """
    from ..engine.render.plain import as_json
    from ..engine.review.schemas import editor_schema

    data = editor_schema(kind.value, read_program(pack))
    sys.stdout.write(as_json(data))
