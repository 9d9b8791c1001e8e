"""CSV: one row a line, every column as documented, nothing a spreadsheet would run."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st
from knockon.engine.render.csv import COLUMNS, cell, handover_csv, plan_csv, supplement_csv
from knockon.engine.render.words import MEMORY
from sample_plan import HANDOVER, PLAN, SUPPLEMENT


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline="")))


def test_one_row_for_each_line_under_the_documented_columns() -> None:
    found = rows(plan_csv(PLAN))
    assert [r["id"] for r in found] == [line.id for line in PLAN.lines]
    assert list(found[0]) == list(COLUMNS)
    assert [r["number"] for r in found] == ["1", "2", "3", "4", "5", "6", ""]
    assert all(meaning for meaning, _ in COLUMNS.values())


def test_a_row_holds_the_whole_line() -> None:
    row = rows(plan_csv(PLAN))[3]
    expected = {
        "case": "case 12",
        "progress": "failed",
        "why": "R900: A moved part takes the sensor with it.",
        "sources": f"The rulebook (third edition), section 4 ({MEMORY})",
        "observed": "front fender: replaced",
        "derived": "the body took a jolt",
        "assumed": "strike on the underside: yes",
        "after": "aim.left; aim.right",
        "procedure": "Seat manual",
        "procedure_says": "required",
        "needs": "a level floor",
        "record": "empty reading kg",
        "last_result": "fail",
        "last_by": "B. Person",
        "labour": "mechanical",
        "hours": "0.5",
        "sublet": "yes",
    }
    assert {k: row[k] for k in expected} == expected
    assert row["last_readings"].endswith("verdict: within")
    assert rows(plan_csv(PLAN))[5]["procedure"] == ""


@pytest.mark.parametrize(
    ("value", "written"),
    [
        ("=1+1", "'=1+1"),
        ("+1", "'+1"),
        ("-1", "'-1"),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("\t=1", "' =1"),
        ("\r=1", "' =1"),
        ("  =1", "'  =1"),
        ("＝1", "'＝1"),
        ("\x00=1", "'=1"),
        ("a = 1", "a = 1"),
        ("", ""),
        (None, ""),
        (["=1", "2"], "'=1; 2"),
        (0.5, "0.5"),
    ],
)
def test_a_cell_that_could_be_a_formula_gets_an_apostrophe(value: object, written: str) -> None:
    assert cell(value) == written


@given(st.text())
def test_no_text_becomes_a_formula_or_a_second_line(text: str) -> None:
    written = cell(text)
    assert not written.lstrip().startswith(("=", "+", "-", "@"))
    assert not any(c in written for c in "\r\n\t\x1b\x00")


def test_supplement_and_handover_have_one_row_for_each_entry() -> None:
    changes = rows(supplement_csv(SUPPLEMENT))
    assert [r["change"] for r in changes] == ["added", "voided"]
    assert changes[0]["facts"] == "strike on the underside: not known -> yes"
    assert changes[0]["rules"] == "R900 new in base 1.2.0"
    assert changes[1]["voided"].startswith("2026-01-03")
    state = rows(handover_csv(HANDOVER))
    assert [r["state"] for r in state] == ["failed", "question", "notice", "passed", "waived"]
    assert state[0]["who"] == "technician"
