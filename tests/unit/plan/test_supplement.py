"""Two moments compared: what differs, and exactly that, with what made the difference."""

from __future__ import annotations

import json

import pytest
from jsonschema import Draft202012Validator
from knockon.cli.supplement import as_of
from knockon.engine.load.validate import schema
from knockon.engine.model.program import Program
from knockon.engine.model.record import replace
from knockon.engine.model.supplement import Change, Supplement
from knockon.engine.plan.build import evidence_of, make_plan
from knockon.engine.plan.handover import handover
from knockon.engine.plan.supplement import supplement
from knockon.engine.render.plain import Page
from knockon.engine.render.supplement import supplement_json, supplement_text
from written import ANSWERED, EXAMPLE, procedure, read, written


def compared(before: str, after: str, program: Program, earlier: Program | None = None) -> Supplement:
    old = evidence_of(earlier or program, read(before, earlier or program))
    return supplement(old, evidence_of(program, read(after, program)), "before", "after")


def only(found: Supplement, kind: str, line: str) -> Change:
    return next(c for c in found.changes if c.kind == kind and c.line.id == line)


def test_nothing_changed_is_said_so(program: Program) -> None:
    found = compared(written(), written(), program)
    assert found.changes == ()
    assert "No line was added" in supplement_text(found, Page())


def test_a_result_alone_is_no_supplement(program: Program) -> None:
    log = "- {at: 2026-03-05, did: photo_set, result: pass}"
    assert compared(written(), written(log), program).changes == ()


def test_an_added_line_names_the_answer_and_the_rule(program: Program) -> None:
    found = compared(written(head=ANSWERED.replace("bake: yes", "bake: no")), written(), program)
    assert {f.slot for c in found.changes for f in c.facts} <= {"bake"}
    more = compared(written(head=ANSWERED.replace("lamp_srs: off_ok", "lamp_srs: on")), written(), program)
    assert [c.kind for c in more.changes]
    assert {f.slot for c in more.changes for f in c.facts} == {"lamp_srs"}


def test_an_answer_that_comes_in_makes_lines_firm(program: Program) -> None:
    open_ = ANSWERED.replace("  bracket_bad: [radar_corner_rear]\n", "")
    found = compared(written(head=open_), written(), program)
    assert all(f.before.startswith("not known") or f.before == "none" for c in found.changes for f in c.facts)
    assert all(c.standing_after == "firm" for c in found.changes if c.kind == "firmed")


def test_a_part_taken_off_the_list_drops_its_lines(program: Program) -> None:
    less = ANSWERED.replace("  - {part: bumper_cover_rear, actions: [rr, refinish], damage: broken}\n", "")
    found = compared(written(), written(head=less), program)
    gone = only(found, "dropped", "film_measure.rear")
    assert [(f.slot, f.after) for f in gone.facts] == [("touched.bumper_cover_rear.rear", "none")]
    assert "R102d" in {s.rule for s in gone.rules}
    assert gone.standing_after == ""


def test_a_procedure_that_requires_a_line_changes_its_strength(program: Program) -> None:
    found = compared(written(), written(procedures=procedure("suspension_insp")), program)
    changed = only(found, "strength", "suspension_insp")
    assert (changed.strength_before, changed.strength_after) == ("unless_procedure", "required")
    assert [s.rule for s in changed.rules] == ["R296"]
    assert [f.slot for f in changed.facts] == ["procedure.suspension_insp"]


def test_a_procedure_that_does_not_require_a_line_drops_it(program: Program) -> None:
    found = compared(
        written(), written(procedures=procedure("suspension_insp", verdict="not_required")), program
    )
    gone = only(found, "dropped", "suspension_insp")
    assert [s.rule for s in gone.rules] == ["R297"]
    assert [c.line.id for c in found.changes] == ["suspension_insp"]


@pytest.mark.parametrize(
    ("again", "words"),
    [("", "to be done again"), ("- {at: 2026-03-07, did: ocs_check, result: pass}", "done again since")],
)
def test_a_void_result_is_named_also_when_the_work_was_repeated(
    program: Program, again: str, words: str
) -> None:
    before = "- {at: 2026-03-05, did: ocs_check, result: pass}\n"
    after = f"{before}- {{at: 2026-03-06, event: ev_seat_out}}\n{again}"
    changed = only(compared(written(before), written(after), program), "voided", "ocs_check")
    assert changed.voided == f"2026-03-06: front passenger seat unbolted; {words}"


SEAT_DONE = "- {at: 2026-03-05, did: ocs_check, result: pass}"
SEAT_OUT = ANSWERED.replace("parts:\n", "parts:\n  - {part: seat_front_pass, actions: [ri]}\n", 1)


def test_a_result_older_than_what_is_new_on_the_parts_list_is_doubted_until_the_log_dates_that_work(
    program: Program,
) -> None:
    assert SEAT_OUT != ANSWERED
    found = compared(written(SEAT_DONE), written(SEAT_DONE, head=SEAT_OUT), program)
    doubted = only(found, "doubted", "ocs_check")
    assert doubted.voided == "2026-03-05"
    assert [f.slot for f in doubted.facts] == ["touched.seat_front_pass"]
    dated = f"- {{at: 2026-03-04, event: ev_seat_out}}\n{SEAT_DONE}"
    settled = compared(written(SEAT_DONE), written(dated, head=SEAT_OUT), program)
    assert not [c for c in settled.changes if c.kind == "doubted"]


def test_a_seat_on_the_parts_list_without_a_date_stands_in_the_way_of_the_handover(program: Program) -> None:
    plan = make_plan(program, read(written(SEAT_DONE, head=SEAT_OUT), program))
    (notice,) = [n for n in plan.notices if n.kind == "undated"]
    assert "ev_seat_out" in notice.text
    assert notice.text in {m.words for m in handover(plan, program).missing}
    later = written(f"{SEAT_DONE}\n- {{at: 2026-03-06, event: ev_seat_out}}", head=SEAT_OUT)
    assert "undated" not in {n.kind for n in make_plan(program, read(later, program)).notices}


def test_since_a_date_leaves_out_what_the_log_says_after_it(program: Program) -> None:
    case = read(EXAMPLE.read_text("utf-8"), program)
    then = as_of(case, "2026-03-11")
    assert {e.at[:10] for e in case.log} - {e.at[:10] for e in then.log} == {
        f"2026-03-{day}" for day in (12, 13, 16, 17, 18)
    }
    assert [e.at for e in as_of(case, "2026-03-02T09:40").log] == ["2026-03-02T09:10", "2026-03-02T09:40"]
    found = supplement(evidence_of(program, then), evidence_of(program, case), "then", "now")
    assert {(c.kind, c.line.id) for c in found.changes} == {
        ("voided", "radar_cover_check.rear"),
        ("voided", "film_measure.rear"),
        ("voided", "scan_interim"),
        ("voided", "radar_corner_cal.rear_right"),
    }


def _without(program: Program, rule: str) -> Program:
    """The program as it would be with another content of its first pack, one rule short."""
    first, *others = program.packs
    return replace(
        program,
        packs=(replace(first, version="0.9.0", sha256="0" * 64), *others),
        rules={k: v for k, v in program.rules.items() if k != rule},
        alternatives=tuple(a for a in program.alternatives if a.rule.id != rule),
    )


def test_a_rule_that_a_new_pack_brings_is_named_with_its_pack(program: Program) -> None:
    found = compared(written(), written(), program, _without(program, "R102d"))
    added = only(found, "added", "film_measure.rear")
    assert [(r.rule, r.how, r.pack) for r in added.rule_changes] == [("R102d", "new", "base 1.0.0")]
    assert added.facts == ()
    assert (found.packs[0].name, len(found.packs)) == ("base", 1)
    text = supplement_text(found, Page())
    assert "pack base was 0.9.0, now 1.0.0" in text
    assert "rule R102d is new in pack base 1.0.0" in text


def test_a_rule_that_a_new_pack_takes_away_is_named_too(program: Program) -> None:
    before = read(written(), program)
    found = supplement(
        evidence_of(program, before), evidence_of(_without(program, "R102d"), before), "before", "after"
    )
    gone = only(found, "dropped", "film_measure.rear")
    assert [(r.rule, r.how) for r in gone.rule_changes] == [("R102d", "gone")]


def test_every_change_says_what_made_it(program: Program) -> None:
    first = EXAMPLE.with_name("first-notice.yaml").read_text("utf-8")
    found = compared(first, EXAMPLE.read_text("utf-8"), program)
    assert len(found.changes) > 20
    for change in found.changes:
        assert change.facts or change.voided, change.line.id
        assert change.rules or change.voided, change.line.id


def test_json_follows_its_schema_and_is_the_same_every_time(program: Program) -> None:
    first = EXAMPLE.with_name("first-notice.yaml").read_text("utf-8")
    texts = {supplement_json(compared(first, EXAMPLE.read_text("utf-8"), program)) for _ in range(2)}
    assert len(texts) == 1
    Draft202012Validator(schema("supplement")).validate(json.loads(texts.pop()))
