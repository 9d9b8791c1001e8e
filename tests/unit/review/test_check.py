"""One tiny bad pack per finding: its code, its words, and the places it points at. All packs invented."""

from __future__ import annotations

import json
import shutil
from functools import cache
from pathlib import Path

import pytest
from knockon.engine.load.cache import built_in_folders
from knockon.engine.render.findings import findings_json, findings_text
from knockon.engine.render.plain import Page
from knockon.engine.review.check import Review, check

HEAD = """\
pack: tiny
version: 1.0.0
date: 2026-01-31
title: a tiny pack
stacks_on: []
review_days: 100
contents: [words.yaml, rules.yaml]
"""
WORDS = """\
facts:
  event:
    {title: kind of event, ask: "What happened?", type: choice, values: {bump: bump, hail: hail, none: none},
     section: [intake], who: [estimator], assume: bump, clear: none}
  marks:
    {title: marks seen, ask: "Which marks?", type: set, values: {scratch: scratch, dent: dent},
     section: [teardown], who: [blueprinter], assume: nothing, clear: []}
  speed:
    {title: speed, ask: "How fast?", type: number, unit: km/h, section: [scan], who: [scan_tech],
     assume: nothing, clear: nothing}
derived:
  d_jolt: {title: the body took a jolt, per: vehicle}
systems:
  eye: {title: front eye, does: looks ahead, area: front_assist}
parts:
  nose: {title: nose, end: front, carries: [eye]}
phases: [{id: work, title: work}]
operations:
  look: {title: look, kind: inspection, systems: [eye], per: vehicle, phase: work, void_by: [ev_jolt]}
  aim: {title: aim, kind: static calibration, systems: [eye], per: vehicle, phase: work, after: [look]}
events:
  ev_jolt: {title: a new jolt, scope: vehicle}
sources:
  habit: {title: habit of the shop, kind: common_practice, reviewed: 2026-01-01, figures: {quick: {value: 30}}}
"""
GOOD = [
    "{id: T001, title: A bump jolts, when: [{fact: event, is: bump}], then: [{conclude: d_jolt}]",
    "{id: T002, title: A jolt asks for a look, when: [{derived: d_jolt}], then: [{plan: look}]",
    "{id: T003, title: A dent asks for aiming, when: [{fact: marks, any_of: [dent]}], then: [{plan: aim}]",
    "{id: T004, title: Fast asks too, when: [{fact: speed, at_least: habit.quick}], then: [{plan: [look, aim]}]",
]
END = ", strength: required, why: it moves, source: [{id: habit}]}"


def folder(tmp_path: Path, *rules: str, head: str = "", good: bool = True) -> Path:
    """A pack of its own: the good rules and the given ones, a line each; a rule without a why gets the usual end."""
    lines = [*(GOOD if good else []), *rules]
    whole = [line if "why:" in line else line.removesuffix("}") + END for line in lines]
    (tmp_path / "pack.yaml").write_text(HEAD + head)
    (tmp_path / "words.yaml").write_text(WORDS)
    (tmp_path / "rules.yaml").write_text("rules:\n" + "".join(f"  - {line}\n" for line in whole))
    return tmp_path


def codes(review: Review) -> list[str]:
    return [m.code for m in review.findings]


def test_a_good_pack_is_clean(tmp_path: Path) -> None:
    review = check([folder(tmp_path)])
    assert review.findings == ()
    assert review.accepted == ()
    assert review.program is not None


RULES = [
    ("KN410", "no answer to `event`", ["{fact: event, is: bump}", "{fact: event, in: [hail]}"], ""),
    ("KN410", "no answer to `event`", ["{fact: event, not_in: [bump, none]}", "{fact: event, not_in: [hail]}"], None),
    ("KN410", "no answer to `marks`", ["{fact: marks, any_of: [dent]}", "{fact: marks, none_of: [dent]}"], ""),
    ("KN410", "no answer to `speed`", ["{fact: speed, at_least: 50}", "{fact: speed, below: 50}"], ""),
    ("KN410", "its `unless` holds", ["{fact: event, is: bump}"], "{fact: event, in: [bump, hail]}"),
    ("KN410", "plans `idle`", ["{planned: idle}"], ""),
    ("KN410", "concludes `d_never`", ["{derived: d_never}"], ""),
    ("KN410", "raises `3`", ["{severity: 3}"], ""),
    ("KN410", "conditions exclude each other: hail is slow", ["{fact: event, is: hail}", "{fact: speed, at_least: 20}"], ""),
    ("KN410", "no part it names covers", ["{touched: any, covers: eye}"], ""),
    ("KN410", "no operation is of that kind", ["{result: look, kinds: [scan]}"], ""),
]  # fmt: skip
MORE = """\
impossible:
  - {title: hail is slow, facts: [{fact: event, is: hail}, {fact: speed, at_least: 10}]}
"""
NEVER = "derived:\n  d_never: {title: never so, per: vehicle}\n"
IDLE = "operations:\n  idle: {title: idle, kind: scan, systems: [], per: vehicle, phase: work}\n"


@pytest.mark.parametrize(("code", "text", "when", "unless"), RULES)
def test_a_rule_that_can_never_fire(
    tmp_path: Path, code: str, text: str, when: list[str], unless: str | None
) -> None:
    bad = f"{{id: T009, title: Bad, when: [{', '.join(when)}], unless: [{unless or ''}], then: [{{plan: look}}]}}"
    place = folder(tmp_path, bad)
    (place / "more.yaml").write_text(MORE + NEVER + IDLE)
    (place / "pack.yaml").write_text(HEAD.replace("rules.yaml]", "rules.yaml, more.yaml]"))
    review = check([place])
    found = [m for m in review.findings if m.code == code]
    if unless is None:  # `none` is left out by one and `hail` by the other, but a known "nothing" passes both
        assert not found
        return
    assert len(found) == 1
    assert found[0].text.startswith("`T009` can never fire")
    assert text in found[0].text
    assert found[0].level == "error"
    assert found[0].culprits[0].span.line == 6
    assert all(c.label for c in found[0].culprits)


def test_what_only_dead_rules_conclude_is_never_there(tmp_path: Path) -> None:
    words = NEVER.removeprefix("derived:\n")
    place = folder(
        tmp_path,
        "{id: T008, title: Rings, when: [{derived: d_never}, {fact: event, is: hail}], then: [{conclude: d_never}]}",
        "{id: T009, title: Waits, when: [{derived: d_never}], then: [{plan: look}]}",
    )
    (place / "words.yaml").write_text(WORDS.replace("derived:\n", "derived:\n" + words))
    assert codes(check([place])) == ["KN410", "KN410"]


def test_alternatives_in_vain(tmp_path: Path) -> None:
    review = check(
        [
            folder(
                tmp_path,
                "{id: T008, title: One branch is dead, then: [{plan: aim}], when: [{fact: event, is: hail}, "
                "{any: [[{fact: marks, some: true}], [{fact: event, is: bump}]]}]}",
                "{id: T009, title: One branch is idle, then: [{plan: aim}], when: [{fact: event, is: none}, "
                "{any: [[{fact: speed, at_least: 5}], [{fact: speed, at_least: 8}]]}]}",
            )
        ]
    )
    assert codes(review) == ["KN411", "KN412"]
    assert "`T008`" in review.findings[0].text
    assert "`T009`" in review.findings[1].text


@pytest.mark.parametrize(
    ("rules", "code"),
    [
        (["{id: T008, title: More, when: [{derived: d_jolt}, {fitted: eye}], then: [{plan: look}]}"], "KN413"),
        (["{id: T008, title: Faster, when: [{fact: speed, at_least: 40}], then: [{plan: aim}]}"], "KN413"),
        (["{id: T008, title: Also, when: [{derived: d_jolt}], then: [{plan: look}]}"], "KN414"),
        (["{id: T008, title: Any part, when: [{touched: any, side: front}], then: [{plan: aim}]}",
          "{id: T009, title: Eye, when: [{touched: nose, actions: [rr], side: front}], then: [{plan: aim}]}"], "KN413"),
        (["{id: T008, title: Off, when: [{fact: event, in: [hail, none]}], then: [{drop: aim}]}",
          "{id: T009, title: On, when: [{fact: event, is: hail}], then: [{plan: aim}], strength: unless_procedure, "
          "why: w, source: [{id: habit}]}"], "KN415"),
        (["{id: T008, title: Off, when: [{fact: marks, any_of: [dent]}, {fact: event, is: hail}], then: [{drop: aim}]}"],
         "KN416"),
    ],
)  # fmt: skip
def test_rules_in_each_others_way(tmp_path: Path, rules: list[str], code: str) -> None:
    review = check([folder(tmp_path, *rules)])
    assert codes(review) == [code]
    assert len(review.findings[0].culprits) == 2


@pytest.mark.parametrize(
    "rule",
    [
        "{id: T008, title: A note of its own, when: [{derived: d_jolt}, {fitted: eye}], then: [{plan: look}], note: Wipe it}",
        "{id: T008, title: Held back, when: [{derived: d_jolt}], unless: [{fact: speed, below: 2}], then: [{plan: aim}]}",
        "{id: T008, title: Stronger, when: [{derived: d_jolt}], then: [{plan: aim}]}",
        "{id: T008, title: Another source, when: [{derived: d_jolt}, {fitted: eye}], then: [{plan: look}], strength: required, why: w, "
        "source: [{id: habit, at: page 2}]}",
        "{id: T008, title: Dropped only sometimes, when: [{fact: marks, any_of: [scratch]}], then: [{drop: look}]}",
    ],
)  # fmt: skip
def test_no_shouting(tmp_path: Path, rule: str) -> None:
    assert check([folder(tmp_path, rule)]).findings == ()


@pytest.mark.parametrize(
    ("when", "unless", "for_ever"),
    [
        ("", "", True),
        ("{fact: event, is: bump}", "", True),
        ("{derived: d_jolt}", "", True),
        ("{fact: event, is: bump}", "{result: look, outcome: [pass]}", True),
        ("{fact: event, is: bump}", "{result: aim, outcome: [pass]}", True),
        ("{fact: marks, some: true}", "", False),
        ("{result: look, outcome: [fail]}", "{fact: event, is: hail}", True),
        ("{code: eye}", "", False),
        ("{fact: event, is: bump}", "{procedure: look, verdict: [required]}", False),
    ],
)
def test_a_hold_nothing_can_release(tmp_path: Path, when: str, unless: str, for_ever: bool) -> None:
    rule = f"{{id: T008, title: Holds, when: [{when}], unless: [{unless}], then: [{{hold: look}}]}}"
    assert codes(check([folder(tmp_path, rule)])) == (["KN417"] if for_ever else [])


def test_a_hold_released_by_earlier_work(tmp_path: Path) -> None:
    rule = (
        "{id: T008, title: Holds, when: [], unless: [{result: look, outcome: [pass]}], then: [{hold: aim}]}"
    )
    assert check([folder(tmp_path, rule)]).findings == ()


@pytest.mark.parametrize(
    ("old", "new", "code", "named"),
    [
        ("operations:\n", "operations:\n  idle: {title: idle, kind: scan, systems: [], per: vehicle, phase: work}\n",
         "KN420", "idle"),
        ("systems:\n", "systems:\n  ear: {title: ear, does: listens, area: comfort}\n", "KN421", "ear"),
        ("facts:\n", "facts:\n  mood: {title: mood, ask: How?, type: number, section: [intake], who: [estimator], "
         "assume: nothing, clear: nothing}\n", "KN422", "mood"),
        ("derived:\n", "derived:\n  d_idle: {title: never, per: vehicle}\n", "KN423", "d_idle"),
        ("events:\n", "events:\n  ev_idle: {title: nothing, scope: vehicle}\n", "KN425", "ev_idle"),
        ("sources:\n", "sources:\n  law: {title: a law, kind: law, reviewed: 2026-01-01}\n", "KN402", "law"),
        ("2026-01-01, figures", "2025-10-01, figures", "KN401", "habit"),
    ],
)  # fmt: skip
def test_what_nothing_uses_or_nobody_reviewed(
    tmp_path: Path, old: str, new: str, code: str, named: str
) -> None:
    place = folder(tmp_path)
    (place / "words.yaml").write_text(WORDS.replace(old, new))
    review = check([place])
    assert codes(review) == [code]
    assert f"`{named}`" in review.findings[0].text
    assert review.findings[0].culprits[0].span.file.endswith("words.yaml")
    assert review.findings[0].next_step


def test_a_derived_fact_nobody_reads(tmp_path: Path) -> None:
    review = check([folder(tmp_path, *(r for r in GOOD if "T002" not in r), good=False)])
    assert codes(review) == ["KN424"]


def test_age_is_measured_at_the_date_given(tmp_path: Path) -> None:
    assert codes(check([folder(tmp_path)], "2026-04-11")) == []
    assert codes(check([tmp_path], "2026-04-12")) == ["KN401"]
    with pytest.raises(ValueError, match="isoformat"):
        check([tmp_path], "soon")


@pytest.mark.parametrize(
    ("until", "since", "code"),
    [
        ("2026-03-01", "2026-03-01", []),
        ("2026-03-01", "2026-04-01", ["KN431"]),
        ("2026-05-01", "2026-04-01", ["KN432"]),
    ],
)
def test_versions_of_a_rule(tmp_path: Path, until: str, since: str, code: list[str]) -> None:
    one = f"{{id: T008, title: Old, when: [{{fact: speed, below: 9}}], then: [{{plan: aim}}], valid: {{until: {until}}}}}"
    two = f"{{id: T009, title: New, when: [{{fact: speed, below: 7}}], then: [{{plan: aim}}], valid: {{from: {since}}}}}"
    review = check([folder(tmp_path, one, two)])
    assert codes(review) == code
    if code:
        assert all(day in review.findings[0].text for day in (until, since))


HAIL = "{id: T008, title: Also, when: [{derived: d_jolt}], then: [{plan: look}]%s}"


def test_acceptance_on_the_rule_and_in_the_head(tmp_path: Path) -> None:
    review = check([folder(tmp_path, HAIL % ", accept: [{code: KN414, reason: kept for its wording}]")])
    assert review.findings == ()
    assert [(m.code, a.reason) for m, a in review.accepted] == [("KN414", "kept for its wording")]
    head = "accepted: [{code: KN414, at: T002, reason: both words are used}]\n"
    assert codes(check([folder(tmp_path, HAIL % "", head=head)])) == []


@pytest.mark.parametrize(
    ("entry", "expected"),
    [
        ("{code: KN414, at: T001, reason: gone long ago}", ["KN414", "KN440"]),
        ("{code: KN414, at: T002, reason: ' '}", ["KN441", "KN414"]),
        ("{code: KN201, at: T002, reason: no}", ["KN441", "KN414"]),
        ("{code: KN414, at: T999, reason: no}", ["KN441", "KN414"]),
        ("{code: KN414, at: T002}", ["KN111", "KN400"]),
    ],
)
def test_acceptances_that_do_not_excuse(tmp_path: Path, entry: str, expected: list[str]) -> None:
    review = check([folder(tmp_path, HAIL % "", head=f"accepted: [{entry}]\n")])
    assert codes(review) == expected
    assert review.accepted == ()


def test_a_broken_pack_is_not_checked_halfway(tmp_path: Path) -> None:
    review = check(
        [folder(tmp_path, "{id: T008, title: Bad, when: [{fact: evnt, is: bump}], then: [{plan: look}]}")]
    )
    assert codes(review) == ["KN201", "KN400"]
    assert review.findings[0].nearest == "event"
    assert review.program is None


def test_order_in_a_ring_is_refused(tmp_path: Path) -> None:
    place = folder(tmp_path)
    (place / "words.yaml").write_text(WORDS.replace("void_by: [ev_jolt]", "void_by: [ev_jolt], after: [aim]"))
    assert codes(check([place])) == ["KN230", "KN400"]
    (place / "words.yaml").write_text(WORDS.replace("void_by: [ev_jolt]", "void_by: [ev_jold]"))
    assert codes(check([place])) == ["KN201", "KN400"]


def test_a_higher_pack_is_not_blamed_for_acceptances_below(tmp_path: Path) -> None:
    (tmp_path / "low").mkdir()
    (tmp_path / "high").mkdir()
    idle = "{code: KN422, at: mood, reason: a higher pack reads it}"
    low = folder(tmp_path / "low", head=f"accepted: [{idle}]\n")
    mood = "  mood: {title: mood, ask: How?, type: number, section: [intake], who: [estimator], assume: nothing, clear: nothing}\n"
    (low / "words.yaml").write_text(WORDS.replace("facts:\n", "facts:\n" + mood))
    assert codes(check([low])) == []
    high = tmp_path / "high"
    head = HEAD.replace("tiny\n", "shop\n").replace("[]", "[tiny]").replace("words.yaml, ", "")
    (high / "pack.yaml").write_text(head)
    rule = "{id: S001, title: Mood, when: [{fact: mood, at_least: 3}], then: [{plan: aim}]"
    (high / "rules.yaml").write_text(f"rules:\n  - {rule}{END}\n")
    assert codes(check([low, high])) == []


@cache
def built_in_review(count: int) -> Review:
    """What the check says of the first so many of the built-in packs."""
    return check(built_in_folders()[:count])


@pytest.mark.parametrize("count", [1, 2, 3])
def test_built_in_packs_are_clean(count: int) -> None:
    assert [(m.code, m.text) for m in built_in_review(count).findings] == []


def test_a_copy_elsewhere_reads_the_same(tmp_path: Path) -> None:
    shutil.copytree(built_in_folders()[0], tmp_path / "base")
    review, built_in = check([tmp_path / "base"]), built_in_review(1)
    assert [m.text for m in review.findings] == [m.text for m in built_in.findings]
    assert len(review.accepted) == len(built_in.accepted)


LIMITS = """\
limits:
  look:
    gap: {low: 2, high: 1, unit: mm}
  aim:
    angel: {high: 1, unit: deg}
    angle: {high: 1, unit: kg}
    Time_taken: {high: 3, unit: min}
"""
AIM = "phase: work, after: [look]"


def test_limits_that_could_never_judge_a_reading(tmp_path: Path) -> None:
    place = folder(tmp_path)
    record = ", record: [{name: angle, unit: deg}, {name: time taken, unit: s}]"
    (place / "words.yaml").write_text(WORDS.replace(AIM, AIM + record) + LIMITS)
    review = check([place])
    assert codes(review) == ["KN403", "KN404", "KN404"]
    reversed_, unknown, other_kind = review.findings
    assert "low limit 2 is above the high limit 1" in reversed_.text
    assert (unknown.nearest, unknown.culprits[0].span.line) == ("angle", LINE_OF_LIMITS + 4)
    assert "`angle` of `aim` is read in deg, its limit is in kg" in other_kind.text
    (place / "words.yaml").write_text(WORDS + "limits:\n  aim:\n    angle: {high: 1, unit: parsec}\n")
    assert codes(check([place])) == ["KN403"]
    (place / "words.yaml").write_text(WORDS + "limits:\n  aim:\n    angle: {high: 1, unit: deg}\n")
    assert check([place]).findings[0].next_step == "give the operation a `record`"


LINE_OF_LIMITS = WORDS.count("\n") + 1


def test_what_a_pack_takes_from_a_lower_one_is_told_and_named_as_the_cause(tmp_path: Path) -> None:
    for name in ("low", "high"):
        (tmp_path / name).mkdir()
    low, high = folder(tmp_path / "low"), tmp_path / "high"
    head = HEAD.replace("tiny\n", "shop\n").replace("[]", "[tiny]").replace("words.yaml, ", "")
    (high / "pack.yaml").write_text(head)
    (high / "rules.yaml").write_text(
        "rules:\n  - {id: S001, withdraw: T001, why: it never moves, source: [{id: habit}]}\n"
    )
    review = check([low, high])
    assert [m.text for m in review.findings if m.code == "KN410"] == [
        "`T002` can never fire: no rule that can fire concludes `d_jolt`"
    ]
    assert review.findings[0].culprits[-1].label == "until `S001` withdrew `T001`"
    text = findings_text(review, Page())
    assert "`T001` A bump jolts (required: d_jolt): withdrawn by `S001` of shop" in text
    assert json.loads(findings_json(review))["overridden"][0]["by"] == "S001"
    assert "Taken from" not in findings_text(check([low]), Page())


def test_a_pack_that_lists_its_changes_lists_its_own_version(tmp_path: Path) -> None:
    review = check([folder(tmp_path, head="changes: {0.9.0: the first rules}\n")])
    assert codes(review) == ["KN405"]
    assert "says nothing of version 1.0.0" in review.findings[0].text
    assert codes(check([folder(tmp_path, head="changes: {1.0.0: aims after a dent, 0.9.0: more}\n")])) == []
    assert codes(check([folder(tmp_path, head="changes: {first: more}\n")])) == ["KN114", "KN400"]
