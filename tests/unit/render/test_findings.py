"""A review as text, JSON and SARIF: the same findings in each, nothing lost, nothing that breaks a format.

The rules of SARIF 2.1.0 below were written from memory of the standard; `run` and `suppression` were compared
with its published schema.
"""

from __future__ import annotations

import json
from functools import cache
from typing import Any

from jsonschema import Draft202012Validator
from knockon.engine.diagnostics.message import Culprit, Message
from knockon.engine.load.cache import built_in_folders
from knockon.engine.model.program import Acceptance
from knockon.engine.model.span import Span
from knockon.engine.render.findings import findings_json, findings_sarif, findings_text
from knockon.engine.render.plain import Page
from knockon.engine.review.check import Review, check

FILE = "shop pack/rules.yaml"
LINES = ["rules:", "  - id: T001", "  - id: T002"]
PAIR = Message(
    "KN414",
    "`T001` and `T002` ask for the same",
    (Culprit(Span(FILE, 2, 9, 4), "one"), Culprit(Span(FILE, 3, 9, 4), "the other")),
    next_step="keep one",
    level="warning",
)
NAME = Message(
    "KN201", "no fact is called `evnt`", (Culprit(Span("/x/words.yaml", 4, 2, 4)),), "event", "see it"
)
PLACELESS = Message("KN400", "rules were not compared", level="note")
KEPT = (PAIR, Acceptance("KN414", "T001", "both words\x1b[31m are used", Span(FILE, 9, 1, 20)))


def review(*findings: Message, kept: bool = False) -> Review:
    return Review(findings, (KEPT,) if kept else (), {FILE: LINES}, None)


def closed(required: str = "", **properties: Any) -> dict[str, Any]:
    return {
        "type": "object",
        "properties": properties,
        "required": required.split(),
        "additionalProperties": False,
    }


def some(items: dict[str, Any], unique: bool = False) -> dict[str, Any]:
    return {"type": "array", "items": items, "uniqueItems": unique}


NUMBER, TEXT = {"type": "integer", "minimum": 1}, {"type": "string", "minLength": 1}
SAID = closed("text", text=TEXT)
REGION = closed("startLine", startLine=NUMBER, startColumn=NUMBER, endLine=NUMBER, endColumn=NUMBER)
ARTIFACT = closed("uri", uri={"type": "string", "pattern": r"^[^\s\\]+$"})
PHYSICAL = closed("artifactLocation", artifactLocation=ARTIFACT, region=REGION)
PLACE = closed(id={"type": "integer", "minimum": 0}, physicalLocation=PHYSICAL, message=SAID)
EXCUSE = closed(
    "kind",
    kind={"enum": ["inSource", "external"]},
    status={"enum": ["accepted", "underReview", "rejected"]},
    justification=TEXT,
    location=PLACE,
)
RESULT = closed(
    "message",
    ruleId=TEXT,
    ruleIndex={"type": "integer", "minimum": 0},
    level={"enum": ["none", "note", "warning", "error"]},
    message=SAID,
    locations=some(PLACE),
    relatedLocations=some(PLACE, unique=True),
    suppressions=some(EXCUSE, unique=True),
)
RULE = closed("id", id=TEXT, shortDescription=SAID, fullDescription=SAID, help=SAID)
DRIVER = closed("name", name=TEXT, semanticVersion=TEXT, rules=some(RULE, unique=True))
RUN = closed(
    "tool results",
    tool=closed("driver", driver=DRIVER),
    columnKind={"enum": ["utf16CodeUnits", "unicodeCodePoints"]},
    results=some(RESULT),
)
LOG = {
    **closed("version runs", version={"const": "2.1.0"}, runs=some(RUN)),
    "properties": {"$schema": TEXT, "version": {"const": "2.1.0"}, "runs": some(RUN)},
}


def sarif(found: Review) -> Any:
    log = json.loads(findings_sarif(found, "0.1.0"))
    assert [e.message for e in Draft202012Validator(LOG).iter_errors(log)] == []
    (run,) = log["runs"]
    for result in run["results"]:
        assert run["tool"]["driver"]["rules"][result["ruleIndex"]]["id"] == result["ruleId"]
    return run


def test_text_shows_each_place_and_a_count() -> None:
    text = findings_text(review(NAME, PAIR), Page(80))
    assert "KN201 error: no fact is called `evnt`" in text
    assert "did you mean `event`?" in text
    assert f"  at {FILE}:3:9\n  3 |   - id: T002\n    |         ^^^^ the other" in text
    assert text.endswith("no rule compared: 1 error, 1 warning; 0 accepted with a reason\n")


def test_text_lists_the_accepted_on_request() -> None:
    assert "T002" not in findings_text(review(kept=True), Page(80))
    text = findings_text(review(kept=True), Page(80), accepted=True)
    assert "KN414 accepted: `T001` and `T002` ask for the same" in text
    assert "both words" in text
    assert "\x1b" not in text


def test_json_keeps_everything() -> None:
    data = json.loads(findings_json(review(NAME, PAIR, PLACELESS, kept=True)))
    assert [f["code"] for f in data["findings"]] == ["KN201", "KN414", "KN400"]
    assert data["findings"][0]["nearest"] == "event"
    assert data["findings"][1]["at"][1] == {
        "file": FILE,
        "line": 3,
        "column": 9,
        "length": 4,
        "label": "the other",
    }
    assert data["accepted"][0]["reason"].startswith("both words")
    assert data["complete"] is False


def test_sarif_points_at_the_first_place_and_relates_the_others() -> None:
    first, second = sarif(review(PAIR, NAME))["results"]
    place = first["locations"][0]["physicalLocation"]
    assert place["artifactLocation"]["uri"] == "shop%20pack/rules.yaml"
    assert place["region"] == {"startLine": 2, "startColumn": 9, "endColumn": 13}
    assert first["relatedLocations"][0]["message"]["text"] == "the other"
    assert second["locations"][0]["physicalLocation"]["artifactLocation"]["uri"] == "file:///x/words.yaml"
    assert second["message"]["text"] == "no fact is called `evnt`. Did you mean `event`? Next: see it."


def test_sarif_marks_what_is_accepted() -> None:
    open_, kept = sarif(review(PLACELESS, kept=True))["results"]
    assert open_["suppressions"] == []
    assert open_["locations"] == []
    assert kept["suppressions"][0]["status"] == "accepted"


@cache
def built_in_review() -> Review:
    """What the check says of all built-in packs."""
    return check(built_in_folders())


def test_sarif_of_nothing_and_of_the_built_in_packs() -> None:
    assert sarif(review())["results"] == []
    found = built_in_review()
    assert len(sarif(found)["results"]) == len(found.findings) + len(found.accepted)


def test_same_packs_same_bytes() -> None:
    assert findings_json(check(built_in_folders())) == findings_json(built_in_review())
