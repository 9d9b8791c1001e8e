"""The bench at the command line: what is printed, where files go, and how it exits."""

from __future__ import annotations

import json
from collections.abc import Callable, Generator, Iterable
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from knockon.cli import stack
from knockon.engine.infer.rules_engine import core
from knockon.engine.render.reference import MADE
from knockon.engine.review.batch import OK, Result
from knockon.engine.review.cases import Item

Pack = Callable[..., Path]
Knockon = Callable[..., "Ran"]
SOUND = "  - {name: a blow, given: {facts: {event_type: collision}, fitted: [eye]}, must: [look]}\n"
WRONG = SOUND.replace("must: [look]", "must: [aim]")
SHOP = (
    "pack: shop\nversion: 1.0.0\ndate: 2026-02-01\ntitle: shop\nstacks_on: [tiny]\ncontents: [rules.yaml]\n"
)
CASE = {"case": "x", "date": "2026-02-01", "intake": {"event_type": "collision", "area": ["front"]}}


class Ran(NamedTuple):
    """As the shared fixture returns it."""

    code: int
    out: str
    err: str


def test_try_exits_with_one_when_a_scenario_fails(run_knockon: Knockon, pack: Pack) -> None:
    good, bad = str(pack("good", scenarios=SOUND)), str(pack("bad", scenarios=WRONG))
    ran = run_knockon("pack", "try", good)
    assert (ran.code, ran.out.splitlines()[0]) == (0, "1 scenario: 1 passed, 0 failed")
    ran = run_knockon("pack", "try", bad, "--conditions")
    assert ran.code == 1
    assert "aim is not on the plan" in ran.out
    ran = run_knockon("pack", "try", bad, "--format", "json")
    assert (ran.code, json.loads(ran.out)["scenarios"][0]["passed"]) == (1, False)


def test_a_pack_that_is_not_there_is_wrong_input(run_knockon: Knockon) -> None:
    for words in (("try", "nowhere"), ("matrix", "nowhere"), ("promise", "nowhere"), ("pages", "nowhere")):
        ran = run_knockon("pack", *words)
        assert ran.code == 2, words
        assert "KN101" in ran.err


def test_check_tells_wrong_input_from_findings(run_knockon: Knockon, pack: Pack, tmp_path: Path) -> None:
    assert run_knockon("pack", "check", "nowhere").code == 2
    assert run_knockon("pack", "check", str(pack())).code == 1
    ran = run_knockon("pack", "check", str(pack()), "--date", "tomorrow")
    assert ran.code == 2
    assert "not a date" in ran.err
    sarif = json.loads(run_knockon("pack", "check", str(pack()), "--format", "sarif").out)
    assert sarif["version"] == "2.1.0"


@pytest.mark.parametrize(
    ("format", "start"), [("text", "SYSTEMS"), ("csv", "system,"), ("html", "<!doctype"), ("json", "{")]
)
def test_matrix_in_every_format(run_knockon: Knockon, pack: Pack, format: str, start: str) -> None:
    ran = run_knockon("pack", "matrix", str(pack()), "--format", format)
    assert ran.code == 0
    assert ran.out.startswith(start)


def test_effect_names_the_rule_and_exits_with_one(run_knockon: Knockon, pack: Pack, tmp_path: Path) -> None:
    old, new = str(pack("old")), str(pack("new", T002=None))
    body = tmp_path / "cases.jsonl"
    body.write_text((json.dumps(CASE) + "\n") * 3 + "no case\n")
    ran = run_knockon("pack", "effect", old, new, "--cases", str(body), "--workers", "2")
    assert ran.code == 1
    assert "4 cases: 3 with another plan, 0 unchanged" in ran.out
    assert "T002 removed" in ran.out
    assert "1 case left out (input): KN502 not a case" in ran.out
    ran = run_knockon("pack", "effect", "none", "none", "--under", old, "--cases", str(body))
    assert "4 cases: 0 with another plan, 3 unchanged" in ran.out
    (tmp_path / "empty").mkdir()
    ran = run_knockon("pack", "effect", old, new, "--cases", str(tmp_path / "empty"))
    assert (ran.code, "there are no cases at" in ran.err) == (2, True)
    ran = run_knockon("pack", "effect", old, old, "--cases", str(body), "--format", "json")
    assert ran.code == 1  # one case could not be compared
    assert json.loads(ran.out)["groups"] == []
    assert run_knockon("pack", "effect", old, new, "--cases", str(tmp_path / "none")).code == 2


def test_a_stopped_effect_run_reports_what_it_compared(
    run_knockon: Knockon, pack: Pack, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    old, new = str(pack("old")), str(pack("new", T002=None))
    body = tmp_path / "cases.jsonl"
    body.write_text(json.dumps(CASE) + "\n")
    row = Result(0, "b:1", OK, {"changes": [["lost", "look", "required", "", ["T002"]]]})

    def stopped(count: int) -> Callable[..., Generator[Result, None, None]]:
        def results(*_: object) -> Generator[Result, None, None]:
            yield from [row] * count
            raise KeyboardInterrupt

        return results

    monkeypatch.setattr(stack, "run_everywhere", stopped(2))
    ran = run_knockon("pack", "effect", old, new, "--cases", str(body))
    assert (ran.code, ran.out.splitlines()[0]) == (130, "2 cases: 2 with another plan, 0 unchanged")
    assert ran.err.startswith("the report is of the 2 cases compared before it was stopped\n")
    monkeypatch.setattr(stack, "run_everywhere", stopped(0))
    assert run_knockon("pack", "effect", old, new, "--cases", str(body))[:2] == (130, "")


def test_a_stopped_effect_run_goes_on_where_it_was(
    run_knockon: Knockon, pack: Pack, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The report of a run in two pieces is that of one, and nothing is compared twice."""
    old, new = str(pack("old")), str(pack("new", T002=None))
    body, out = tmp_path / "cases.jsonl", tmp_path / "found.jsonl"
    body.write_text((json.dumps(CASE) + "\n") * 5 + "no case\n")
    arguments = ("pack", "effect", old, new, "--cases", str(body))
    whole = run_knockon(*arguments).out
    everywhere, taken = stack.run_everywhere, []

    def stopped(items: Iterable[Item], *rest: Any) -> Generator[Result, None, None]:
        for result in everywhere(items, *rest):
            if len(taken) == 2:
                raise KeyboardInterrupt
            taken.append(result.number)
            yield result

    monkeypatch.setattr(stack, "run_everywhere", stopped)
    assert run_knockon(*arguments, "--out", str(out)).code == 130
    assert len(out.read_text().splitlines()) == 2
    taken.append(-1)  # from now on it runs through
    ran = run_knockon(*arguments, "--out", str(out), "--resume")
    assert (ran.out, taken) == (whole, [0, 1, -1, 2, 3, 4, 5])
    assert run_knockon(*arguments, "--out", str(out)).code == 2
    other = run_knockon("pack", "effect", new, old, "--cases", str(body), "--out", str(out), "--resume")
    assert (other.code, "of another run" in other.err) == (2, True)
    assert run_knockon(*arguments, "--resume").code == 2


def test_promise_asks_for_known_ids(run_knockon: Knockon, pack: Pack) -> None:
    ran = run_knockon("pack", "promise", str(pack()), "--only", "P999")
    assert (ran.code, "no promise is called `P999`" in ran.err) == (2, True)


def test_a_broken_promise_is_written_as_a_case_that_runs(
    run_knockon: Knockon, pack: Pack, tmp_path: Path
) -> None:
    pytest.importorskip("clingo")
    folder = pack()
    text = (
        "promises:\n  - {id: P1, title: Every blow is wiped, whenever: [{fact: event_type, is: collision}],\n"
        "     then: [{planned: wipe, side: all}], why: it is dirty}\n"
    )
    (folder / "promises.yaml").write_text(text)
    head = folder / "pack.yaml"
    head.write_text(head.read_text().replace("rules.yaml]", "rules.yaml, promises.yaml]"))
    ran = run_knockon("pack", "promise", str(folder), "--cases", str(tmp_path / "broken"))
    assert ran.code == 1, ran
    assert "REFUTED" in ran.out
    shop = tmp_path / "shop"
    shop.mkdir()
    (shop / "pack.yaml").write_text(SHOP)
    why = "why: never wet, source: [{id: habit}]"
    own = "id: P2, title: Blows are signed, whenever: [{fact: event_type, is: collision}], then: [{planned: wipe}]"
    (shop / "rules.yaml").write_text(
        f"rules:\n  - {{id: S001, withdraw: T004, {why}}}\npromises:\n  - {{{own}, why: w}}\n"
    )
    ran = run_knockon("pack", "promise", str(folder), str(shop))
    assert "P1" not in ran.out
    assert "Taken from lower packs: T004 (by S001 of shop)." in ran.out
    assert "1 other promise of these packs not tried; `--all` tries every one." in ran.out
    ran = run_knockon("pack", "promise", str(folder), str(shop), "--all")
    assert ("REFUTED    P1" in ran.out, "not tried" in ran.out) == (True, False)
    body = str(tmp_path / "broken")
    assert run_knockon("pack", "effect", str(folder), str(folder), "--cases", body).code == 0


def test_pages_are_written_compared_and_taken_away(run_knockon: Knockon, pack: Pack, tmp_path: Path) -> None:
    docs, folder = tmp_path / "docs", str(pack())
    assert run_knockon("pack", "pages", folder, "--out", str(docs), "--compare").code == 1
    assert not docs.exists()
    assert run_knockon("pack", "pages", folder, "--out", str(docs)).code == 0
    assert run_knockon("pack", "pages", folder, "--out", str(docs), "--compare").out == ""
    (docs / "rules" / "old.md").write_text(MADE)
    (docs / "rules" / "own.md").write_text("written by a person")
    ran = run_knockon("pack", "pages", folder, "--out", str(docs), "--compare")
    assert (ran.code, "old.md: left over" in ran.out, "own.md" in ran.out) == (1, True, False)
    run_knockon("pack", "pages", folder, "--out", str(docs))
    assert sorted(p.name for p in (docs / "rules").glob("o*.md")) == ["own.md"]


def test_batch_names_the_bad_case_and_goes_on_where_it_stopped(run_knockon: Knockon, tmp_path: Path) -> None:
    body, out = tmp_path / "cases.jsonl", tmp_path / "plans.jsonl"
    body.write_text(json.dumps(CASE) + "\n\x1b[31mno case\n" + json.dumps(CASE) + "\n")
    ran = run_knockon("batch", str(body), "--out", str(out), "--workers", "1")
    assert ran.code == 1
    assert ran.out == f"3 cases: 1 could not be planned; results in {out}\n"
    assert "cases.jsonl:2: input" in ran.err
    assert "\x1b" not in ran.err
    whole = out.read_bytes()
    entries = [json.loads(line) for line in whole.splitlines()]
    assert [e["state"] for e in entries] == ["ok", "input", "ok"]
    assert entries[0]["lines"]["scan_pre"] == ["required", "firm", "open"]
    assert entries[0]["rules"] == sorted(entries[0]["rules"]) != []
    assert entries[0]["engines"] == (2 if core() else 1)
    assert run_knockon("batch", str(body), "--out", str(out)).code == 2
    out.write_bytes(whole[:-20])
    ran = run_knockon("batch", str(body), "--out", str(out), "--resume", "--workers", "2")
    assert (ran.code, "(2 were done before): 1 could not" in ran.out) == (1, True)
    assert out.read_bytes() == whole
    assert run_knockon("batch", str(body), "--out", str(out), "--resume", "--whole").code == 2


def test_batch_can_keep_whole_plans(run_knockon: Knockon, tmp_path: Path) -> None:
    body, out = tmp_path / "cases.jsonl", tmp_path / "plans.jsonl"
    body.write_text(json.dumps(CASE) + "\n")
    assert run_knockon("batch", str(body), "--out", str(out), "--whole", "--workers", "1").code == 0
    plan = json.loads(out.read_text())["plan"]
    assert {"scan_pre", "handover"} <= {line["id"] for line in plan["lines"]}


OWED = """\
  - {name: a blow is looked at, given: {facts: {event_type: collision}, fitted: [eye]}, must: {look: required}}
  - {name: hail is not, given: {facts: {event_type: hail}}, nearly: {T002: no jolt}}
  - {name: a blow is signed, given: {facts: {event_type: collision}, fitted: [eye]}, fires: [T002], must: [sign]}
"""


def test_try_shows_first_what_packs_above_take_away(run_knockon: Knockon, pack: Pack, tmp_path: Path) -> None:
    low, shop = pack("low", scenarios=OWED), tmp_path / "shop"
    shop.mkdir()
    (shop / "pack.yaml").write_text(SHOP)
    why = "why: somebody read too quickly, source: [{id: habit}]"
    (shop / "rules.yaml").write_text(f"rules:\n  - {{id: S001, withdraw: T002, {why}}}\n")
    ran = run_knockon("pack", "try", str(low), str(shop))
    head, _, rest = ran.out.partition("\n\n")
    assert ran.code == 0
    assert " ".join(head.split()) == (
        "3 scenarios: 0 passed, 0 failed, 3 changed by the packs above: "
        "1 ask for less, 0 differ otherwise, 2 only name a rule that is gone"
    )
    assert rest.startswith("LESS     a blow is looked at\n")
    assert "  - less: look is not on the plan: expected required; got nothing" in rest
    assert "  - T002 is withdrawn by S001 of shop: " in rest
    ran = run_knockon("pack", "try", str(low), str(shop), "--format", "json")
    assert [s["asks_less"] for s in json.loads(ran.out)["scenarios"]] == [True, False, False]


def test_a_misspelt_strength_in_a_scenario_is_wrong_input(run_knockon: Knockon, pack: Pack) -> None:
    ran = run_knockon("pack", "try", str(pack("slip", scenarios=OWED.replace("required", "requird"))))
    assert ran.code == 2
    assert "`requird` is not one of" in ran.err


def test_a_wrong_call_is_told_in_plain_words(run_knockon: Knockon) -> None:
    ran = run_knockon("schema", "rules")
    assert (ran.code, "'rules' is not one of" in ran.err, "Value error" in ran.err) == (2, True, False)


def test_a_misspelt_pack_folder_has_its_nearest(run_knockon: Knockon, pack: Pack) -> None:
    folder = pack("tiny-shop")
    ran = run_knockon("pack", "try", str(folder.with_name("tiny-shp")))
    assert (ran.code, "did you mean" in ran.err, "tiny-shop" in ran.err) == (2, True, True)
    assert "did you mean `us_federal`?" in run_knockon("pack", "try", "us-federal").err
