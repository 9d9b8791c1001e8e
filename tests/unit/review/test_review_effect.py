"""What a change does to a case, and which rule is named as its cause."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from knockon.engine.diagnostics.message import Messages
from knockon.engine.infer.run import infer
from knockon.engine.load.case import build_case
from knockon.engine.load.pack import load_program
from knockon.engine.load.tree import Tree
from knockon.engine.model.case import Case
from knockon.engine.model.program import Program
from knockon.engine.render.effect import effect_data, effect_text
from knockon.engine.render.plain import Page
from knockon.engine.review.batch import OK, Job, Result, run_cases
from knockon.engine.review.cases import body_of_cases
from knockon.engine.review.effect import Change, Pair, Side, _Comparison, effect_work
from knockon.engine.review.tally import Tally
from tiny_pack import RULES, WORDS

Tiny = Callable[..., Program]
BLOW = {"event_type": "collision", "area": ["front"]}
WET = {**BLOW, "wet": "yes"}
NOSE = [{"part": "nose", "actions": ["rr"]}]


def case(program: Program, intake: dict[str, object], parts: list[dict[str, object]] | None = None) -> Case:
    value = {
        "case": "one",
        "date": "2026-02-01",
        "fitted": {"yes": ["eye"], "no": "all_others"},
        "intake": intake,
        "teardown": {},
        "parts": parts or [],
    }
    return build_case(Tree("one.yaml", value), program, Messages())


def changes(
    old: Program, new: Program, intake: dict[str, object], parts: list[dict[str, object]] | None = None
) -> list[Change]:
    return Pair(old, new).changes(case(old, intake, parts), case(new, intake, parts))


def plainly(found: list[Change]) -> list[tuple[str, str, str, str, tuple[str, ...]]]:
    return [(c.kind, c.line, c.was, c.now, c.causes) for c in found if "possible" not in c.kind]


WEAK = RULES["T002"] + ", strength: check_whether, why: maybe, source: [{id: habit}]}"
CALM = {"event_type": "hail", "wet": "yes", "area": ["front"]}
ELSEWHERE = RULES["T004"].replace("plan: wipe, side: $s", "plan: wipe, side: rear")
Edit = dict[str, str | None]
CHANGED: list[tuple[str, Edit, dict[str, object], list[tuple[str, ...]]]] = [
    ("a rule taken out", {"T002": None}, BLOW, [("lost", "look", "required", "", "T002")]),
    ("a rule weakened", {"T002": WEAK}, BLOW, [("weaker", "look", "required", "check_whether", "T002")]),
    (
        "a rule further up",
        {"T001": RULES["T001"].replace("collision", "hail")},
        BLOW,
        [("lost", "aim", "required", "", "T001"), ("lost", "look", "required", "possible", "T001")],
    ),
    ("a hold taken out", {"T006": None}, WET, [("not_held", "aim", "held", "", "T006")]),
    (
        "another place",
        {"T004": ELSEWHERE},
        WET,
        [("lost", "wipe.front", "required", "", "T004"), ("added", "wipe.rear", "", "required", "T004")],
    ),
    ("only its words", {"T002": RULES["T002"].replace("asks for", "wants")}, WET, []),
]


@pytest.mark.parametrize(("_what", "edit", "intake", "expected"), CHANGED, ids=[c[0] for c in CHANGED])
def test_each_change_names_the_edited_rule(
    tiny: Tiny, _what: str, edit: Edit, intake: dict[str, object], expected: list[tuple[str, ...]]
) -> None:
    found = plainly(changes(tiny("old"), tiny("new", **edit), intake, NOSE))
    assert found == [(*change, (cause,)) for *change, cause in expected]


def test_what_blocks_another_rule_is_traced_through_the_block(tiny: Tiny) -> None:
    """T007 rests on T005, which stands back because the edited T001 now fires in hail too."""
    wider = {"T001": RULES["T001"].replace("is: collision", "in: [collision, hail]"), "T002": None}
    found = plainly(changes(tiny("old", T002=None), tiny("new", **wider), CALM))
    assert found == [("lost", "look", "required", "", ("T001",))]


def test_a_drop_is_traced_to_the_rule_that_drops(tiny: Tiny) -> None:
    weak = {"T002": WEAK}
    old = tiny("old", **weak)
    new = tiny("new", **weak, T009="title: Dry, when: [{fact: wet, is: no}], then: [{drop: look}]")
    found = plainly(changes(old, new, {**BLOW, "wet": "no"}))
    assert found == [("lost", "look", "check_whether", "", ("T009",))]


def test_a_changed_assumption_is_traced_to_the_vocabulary(tiny: Tiny) -> None:
    old, new = tiny("old"), tiny("new", words=WORDS.replace("assume: collision", "assume: hail"))
    found = plainly(changes(old, new, {"area": ["front"]}))
    assert found == [("lost", "look", "required", "possible", ("vocabulary event_type",))]


def test_an_operation_that_concerns_another_system_is_traced_to_it(tiny: Tiny) -> None:
    words = WORDS.replace("kind: inspection, systems: [eye]", "kind: inspection, systems: [ear]")
    found = plainly(changes(tiny("old"), tiny("new", words=words), BLOW))
    assert found == [("lost", "look", "required", "", ("vocabulary look",))]


def test_the_most_severe_change_comes_first(tiny: Tiny) -> None:
    old, new = tiny("old"), tiny("new", T002=WEAK, T003=None, T004=None)
    kinds = [c.kind for c in changes(old, new, WET, NOSE)]
    assert kinds == ["lost", "lost", "weaker"]


EDITS: list[Edit] = [{id_: None} for id_ in RULES if id_ != "T000"]
EDITS += [{"T002": WEAK}, {"T001": RULES["T001"].replace("is: collision", "in: [collision, hail]")}]
EDITS += [{"T005": RULES["T005"].replace(", unless: [{derived: d_jolt}]", "")}]
INTAKES: list[dict[str, object]] = [
    {"event_type": event, **wet, **area}
    for event in ("collision", "hail", "unknown")
    for wet in ({"wet": "yes"}, {"wet": "no"}, {})
    for area in ({"area": ["rear"]}, {})
]


@pytest.mark.parametrize("edit", EDITS, ids=[", ".join(e) for e in EDITS])
def test_the_short_cut_never_hides_a_change(tiny: Tiny, edit: Edit) -> None:
    """Where the bench says that nothing can have changed, comparing both runs in full finds nothing."""
    old, new = tiny("old"), tiny("new", **edit)
    pair, skipped = Pair(old, new), 0
    for intake in INTAKES:
        for parts in ([], NOSE):
            one = case(old, intake, parts)
            before, after = infer(old, one), infer(new, one)
            full = list(_Comparison(pair, Side(old, one, before), Side(new, one, after)).changes())
            if pair._untouched(one, before):
                skipped += 1
                assert full == []
            for change in full:
                assert change.causes == tuple(edit), change
    assert skipped


def test_a_case_only_one_side_can_read_is_said_to_be_so(pack: Callable[..., Path], tmp_path: Path) -> None:
    new = pack("new", words=WORDS.replace("hail: hail, ", ""), T001=RULES["T001"])
    body = tmp_path / "cases"
    body.mkdir()
    for name, event in (("a", "hail"), ("b", "collision"), ("c", "nonsense")):
        (body / f"{name}.yaml").write_text(
            f"case: {name}\ndate: '2026-02-01'\nintake: {{event_type: {event}}}\n"
        )
    work = effect_work((str(pack("old")),), (str(new),))
    items = list(body_of_cases(body))
    assert work(items[0])["only"] == "old"
    assert work(items[1])["case"] == "b"
    with pytest.raises(Exception, match="KN"):
        work(items[2])


@pytest.fixture
def tally(tiny: Tiny) -> Tally:
    found = Tally(tiny("old"), tiny("new", T002=None, T004=None))
    lost = ["lost", "look", "required", "", ["T002"]]
    wiped = ["weaker", "wipe.front", "required", "check_whether", ["T004"]]
    for n in range(5):
        found.add(Result(n, f"c.jsonl:{n + 1}", "ok", {"case": "x", "changes": [lost, wiped]}))
    found.add(Result(5, "c.jsonl:6", "ok", {"case": "x", "changes": [wiped]}))
    found.add(Result(6, "c.jsonl:7", "ok", {"case": "x", "changes": []}))
    found.add(Result(7, "c.jsonl:8", "ok", {"case": "x", "only": "old", "why": "c.jsonl:8:1: KN201 gone"}))
    found.add(Result(8, "c.jsonl:9", "input", {"why": "not \x1b[31ma case"}))
    return found


def test_the_tally_groups_by_cause_and_keeps_few_examples(tally: Tally) -> None:
    assert (tally.cases, tally.changed, tally.left_out) == (9, 6, 2)
    groups = tally.ranked()
    assert [[c.id for c in g.causes] for g in groups] == [["T002"], ["T004"]]
    assert [c.how for c in groups[0].causes] == ["removed"]
    assert [s.source for s in groups[0].causes[0].sources] == ["habit"]
    only = groups[1].ranked()[0]
    assert (only.cases, only.examples) == (6, ["c.jsonl:1", "c.jsonl:2", "c.jsonl:3"])


def test_the_report_fits_and_steers_no_terminal(tally: Tally) -> None:
    text = effect_text(tally, Page(80))
    assert max(map(len, text.splitlines())) <= 80
    assert "\x1b" not in text
    assert text.startswith("9 cases: 6 with another plan, 1 unchanged")
    assert text.index("T002 removed") < text.index("T004 removed")
    assert [g["cases"] for g in effect_data(tally)["groups"]] == [5, 6]


def test_the_report_starts_with_what_was_required_and_names_every_such_line(tiny: Tiny) -> None:
    found = Tally(tiny("old"), tiny("new", T002=None))
    some = [["lost", f"op{n}", "required", "", ["T002"]] for n in range(20)]
    weak = ["weaker", "op0.left", "required", "check_whether", ["T002"]]
    for n, changes in enumerate(
        ([*some, weak], [some[7]], [["added", "look", "", "required", ["T002"]]], [])
    ):
        found.add(Result(n, f"b:{n}", OK, {"changes": changes}))
    text = effect_text(found, Page(80))
    head = text.split("\n\n")[0].splitlines()
    assert head[1] == "  2 plans with less than was required:"
    assert head[2].startswith("    gone    op7 2, op0 1, ")
    assert "op19 1" in text  # not only the first few of its group
    assert head[-2:] == ["    weaker  op0.left 1", "  plans with a line lost 2; weaker 1; added 1"]
    assert "and 14 more, none more severe" in text
    data = effect_data(found)
    assert (data["losing"], data["required_lost"]["op7"], data["plans"]["lost"]) == (2, 2, 2)
    none = Tally(tiny("o"), tiny("n", T002=None))
    none.add(Result(0, "b:0", OK, {"changes": [["added", "look", "", "required", ["T002"]]]}))
    assert "  no plan with less than was required\n" in effect_text(none, Page(80))


def test_cases_left_out_for_one_reason_are_one_line(tiny: Tiny) -> None:
    found = Tally(tiny("old"), tiny("new", T002=None))
    for n in range(5):
        why = f"b:{n}:4:2: KN201 no fact is called `x` (and {n} more)"
        found.add(Result(n, f"b:{n}", "input", {"why": why}))
    for n in range(20):
        found.add(Result(n, f"c:{n}", "input", {"why": f"c:{n}: KN502 not a case: {n}"}))
    text = effect_text(found, Page(200))
    assert "  5 cases left out (input): KN201 no fact is called `x`, e.g. b:0:4:2, b:1:4:2, b:2:4:2\n" in text
    assert "  9 cases left out (input): other reasons, e.g. c:11, c:12, c:13\n" in text


def test_a_rule_and_what_it_stands_in_place_of_are_one_cause(pack: Callable[..., Path]) -> None:
    low, high = pack("low"), pack("high")
    (high / "words.yaml").unlink()
    head = (
        "pack: high\nversion: 1.0.0\ndate: 2026-02-01\ntitle: h\nstacks_on: [tiny]\ncontents: [rules.yaml]\n"
    )
    (high / "pack.yaml").write_text(head)
    own = "title: Look, when: [{derived: d_jolt}], then: [{plan: look}], strength: check_whether"
    (high / "rules.yaml").write_text(
        f"rules:\n  - {{id: S001, replace: T002, {own}, why: enough, source: [{{id: habit}}]}}\n"
    )
    found = Tally(load_program([low]), load_program([low, high]))
    for n, causes in enumerate((["S001", "T002"], ["T002"], ["S001"])):
        found.add(
            Result(n, f"b:{n}", OK, {"changes": [["weaker", "look", "required", "check_whether", causes]]})
        )
    text = effect_text(found, Page(80))
    assert text.count("\nS001 in place of T002\n-") == 2
    assert text.count("\nT002 replaced by S001\n-") == 1


def test_effect_over_several_workers(pack: Callable[..., Path], tmp_path: Path) -> None:
    old, new = str(pack("old")), str(pack("new", T002=None))
    body = tmp_path / "cases.jsonl"
    intake = '{"event_type": "collision", "wet": "no", "area": []}'
    body.write_text(f'{{"case": "x", "date": "2026-02-01", "intake": {intake}}}\n' * 40)
    job = Job(effect_work, ((old,), (new,)))
    found = [r.value["changes"] for r in run_cases(body_of_cases(body), job, workers=2, chunk=4)]
    assert found == [[["lost", "look", "required", "", ["T002"]]]] * 40
