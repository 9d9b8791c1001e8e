"""Every example as a reader gets it: text at 80 columns and JSON, compared whole with what is kept beside it.

`examples/<name>/packs.txt` lists the packs stacked on the built-in ones. After a change of rules or of the
page: `pytest tests/golden --update-golden`, and read the diff.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from command import TOP, Run
from jsonschema import Draft202012Validator, FormatChecker
from knockon.engine.load.validate import schema

EXAMPLES = sorted(p.parent for p in (TOP / "examples").glob("*/case.yaml"))
NAMES = [p.name for p in EXAMPLES]


def _arguments(example: Path) -> list[str]:
    listed = example / "packs.txt"
    packs = listed.read_text().split() if listed.exists() else []
    case = str(example.relative_to(TOP) / "case.yaml")
    return ["plan", case, *(word for p in packs for word in ("--pack", p))]


def _compare(expected: Path, text: str, update: bool) -> None:
    if update:
        expected.write_text(text, "utf-8")
    assert text == expected.read_text("utf-8")


@pytest.mark.parametrize("example", EXAMPLES, ids=NAMES)
def test_the_plan_as_text(example: Path, run_knockon: Run, update_golden: bool) -> None:
    ran = run_knockon(*_arguments(example))
    assert ran.code in (0, 1)
    assert max(map(len, ran.out.splitlines())) <= 80
    _compare(example / "plan.txt", ran.out, update_golden)


@pytest.mark.parametrize("example", EXAMPLES, ids=NAMES)
def test_the_plan_as_json(example: Path, run_knockon: Run, update_golden: bool) -> None:
    ran = run_knockon(*_arguments(example), "--format", "json")
    plan = json.loads(ran.out)
    plan_schema().validate(plan)
    assert ran.code == bool(plan["questions"] or plan["notices"])
    _compare(example / "plan.json", ran.out, update_golden)


def plan_schema() -> Any:
    """The schema of the plan; it names every key, so that none can come or go unnoticed."""
    return Draft202012Validator(schema("plan"), format_checker=FormatChecker())


def test_the_schema_is_strict() -> None:
    loose = [p for p, part in _objects(schema("plan"), "") if "additionalProperties" not in part]
    assert loose == ["/properties/vehicle"]


def _objects(part: Any, path: str) -> list[tuple[str, Any]]:
    found = [(path, part)] if isinstance(part, dict) and part.get("type") == "object" else []
    inner = part.items() if isinstance(part, dict) else enumerate(part) if isinstance(part, list) else ()
    return found + [o for key, value in inner for o in _objects(value, f"{path}/{key}")]


def test_packs_on_top_show_on_text_and_json() -> None:
    example = TOP / "examples" / "with-maker-and-shop"
    text = " ".join((example / "plan.txt").read_text("utf-8").split())
    plan = json.loads((example / "plan.json").read_text("utf-8"))
    assert {(o["rule"], o["by"], o["how"]) for o in plan["overrides"]} == {
        ("R044", "M001", "replaced"),
        ("R081", "M002", "replaced"),
        ("R129", "M003", "withdrawn"),
    }
    for said in (
        "rule R129 is withdrawn by M003 of pack orsava-2023",
        "(replaces R081)",
        "calibration, 1.6 h, sublet",
    ):
        assert said in text
    lines = {line["id"]: line for line in plan["lines"]}
    assert lines["radar_front_cal_static"]["labour"] == {
        "category": "calibration",
        "hours": 1.6,
        "sublet": True,
    }
    assert lines["fit_check"]["labour"] is None
    assert lines["structure_measure"]["strength"] == "required"
    assert lines["shutter_init"]["standing"] == "possible"  # only were its drive new
    early = lines["ocs_check_early"]
    assert (early["progress"], early["results"][0]["readings"][0]["limit_high"]) == ("failed", 3.0)
    assert lines["ocs_zero"]["strength"] == "required"
