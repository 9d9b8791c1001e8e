"""`knockon record`: appends and nothing else, refuses before it writes, survives a kill, loses nothing."""

from __future__ import annotations

import multiprocessing
import os
import random
import signal
import stat
import time
from pathlib import Path

import pytest
from command import Run
from knockon.cli.files import locked, write_atomically
from knockon.cli.record import append
from knockon.engine.diagnostics.message import InputError, Messages
from knockon.engine.load.append import append_entry
from knockon.engine.load.tree import parse_tree
from knockon.engine.model.program import Program
from written import EXAMPLE, procedure, read, written

FORK = multiprocessing.get_context("fork")
ENTRY = {"at": "2026-03-18T12:00", "event": "ev_seat_out", "by": "R. Lind"}
SEAT = procedure("ocs_check", "{empty: {low: -7, high: 7, unit: lb}, loaded: {low: 59, high: 73, unit: lb}}")


@pytest.fixture
def case(tmp_path: Path) -> Path:
    path = tmp_path / "case.yaml"
    path.write_text(written("- {at: 2026-03-05, did: photo_set, result: pass}", SEAT), "utf-8")
    return path


def log_of(path: Path) -> list[dict[str, object]]:
    tree = parse_tree(path.read_text("utf-8"), "case.yaml", Messages())
    assert tree is not None
    return list(tree.value["log"])


# What is written


def test_a_result_with_readings_is_appended_and_judged(run_knockon: Run, case: Path) -> None:
    before = case.read_text("utf-8")
    ran = run_knockon(
        *("record", str(case), "--did", "ocs_check", "--at", "2026-03-06T10:00", "--by", "R. Lind"),
        *("--reading", "empty=-2.56..-2.25 lb x20", "--reading", "loaded=63.5..63.9 lb on 3x10 kg M1"),
        *("--reading", "returned=-2.4,-2.5 lb", "--note", "cold: 4 °C # in the yard"),
    )
    assert ran.code == 0, ran.err
    after = case.read_text("utf-8")
    assert after.startswith(before)
    assert log_of(case)[-1] == {
        "at": "2026-03-06T10:00",
        "did": "ocs_check",
        "by": "R. Lind",
        "note": "cold: 4 °C # in the yard",
        "readings": {
            "empty": {"low": -2.56, "high": -2.25, "count": 20, "unit": "lb"},
            "loaded": {
                "low": 63.5,
                "high": 63.9,
                "unit": "lb",
                "weights": {"nominal": 10, "unit": "kg", "number": 3, "class": "M1"},
            },
            "returned": {"samples": [-2.4, -2.5], "unit": "lb"},
        },
    }
    assert "[ocs_check]: passed, and the result stands" in ran.out
    assert "-7  " in ran.out
    assert "zero calibration is not required by this result" in ran.out


def test_an_event_tells_what_it_voids(run_knockon: Run, case: Path) -> None:
    run_knockon("record", str(case), "--did", "ocs_check", "--result", "pass", "--at", "2026-03-06T10:00")
    ran = run_knockon("record", str(case), "--event", "ev_seat_out", "--at", "2026-03-07", "--by", "X")
    assert ran.code == 0
    assert "to be done again" in ran.out
    assert "[ocs_check]: void since 2026-03-07: front passenger seat unbolted" in " ".join(ran.out.split())


def test_a_waiver_needs_who_and_why(run_knockon: Run, case: Path) -> None:
    before = case.read_bytes()
    ran = run_knockon("record", str(case), "--waive", "ocs_check", "--at", "2026-03-07", "--by", "M. Ode")
    assert (ran.code, case.read_bytes()) == (2, before)
    assert "needs who decided and why" in ran.err
    given = ("--by", "M. Ode", "--why", "the owner declined")
    ran = run_knockon("record", str(case), "--waive", "ocs_check", "--at", "2026-03-07", *given)
    assert ran.code == 0
    assert "waived 2026-03-07, M. Ode: the owner declined" in ran.out


def test_groups_and_codes_are_typed_in_one_line_each(run_knockon: Run, case: Path) -> None:
    points = [w for p in ("left=90 um", "middle=151 um") for w in ("--reading", f"film.{p}")]
    assert (
        run_knockon("record", str(case), "--did", "film_measure.rear", "--at", "2026-03-07", *points).code
        == 0
    )
    film = {"left": {"value": 90, "unit": "µm"}, "middle": {"value": 151, "unit": "µm"}}
    assert log_of(case)[-1]["readings"] == {"film": film}
    code = "96A123 0x2F radar_corner_rear"
    assert (
        run_knockon("record", str(case), "--did", "scan_interim", "--at", "2026-03-08", "--code", code).code
        == 0
    )
    found = {"code": "96A123", "status": "0x2F", "system": "radar_corner_rear"}
    assert log_of(case)[-1]["readings"] == {"codes": [found]}
    assert (
        run_knockon("record", str(case), "--did", "scan_post", "--at", "2026-03-09", "--code", "none").code
        == 0
    )
    assert log_of(case)[-1]["readings"] == {"codes": []}


def test_that_work_is_dated_after_the_case_is_said_once_not_with_every_entry(
    run_knockon: Run, case: Path
) -> None:
    day = ("--result", "pass", "--by", "X", "--at")
    first = run_knockon("record", str(case), "--did", "lamp_check", *day, "2027-03-08")
    second = run_knockon("record", str(case), "--did", "photo_set", *day, "2027-03-09")
    assert "dated after the case" in first.out
    assert "dated after the case" not in second.out


def test_a_result_no_rule_asks_for_is_kept_and_named(run_knockon: Run, case: Path) -> None:
    ran = run_knockon("record", str(case), "--did", "hud_align", "--result", "pass", "--at", "2026-03-06")
    assert ran.code == 0
    assert "no rule asks for it; the entry is kept" in ran.out
    assert log_of(case)[-1]["did"] == "hud_align"


def test_called_bare_it_asks_also_through_a_pipe(
    run_knockon: Run, case: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    answers = iter(
        [
            "done",
            "ocs_chek",
            "ocs_check",
            "-2.5..-2.3 lb x20",
            "63..64 lb on 3x10 kg M1",
            "-2.4 zorks",
            "-2.4 lb",
            *("", "", "", "R. Lind", ""),
        ]
    )
    monkeypatch.setattr("builtins.input", lambda: next(answers))
    ran = run_knockon("record", str(case))
    assert ran.code == 0, ran.err
    assert "did you mean `ocs_check`?" in ran.err
    assert "`zorks` is not a unit" in ran.err
    assert "passed, and the result stands" in ran.out
    assert log_of(case)[-1]["by"] == "R. Lind"


def test_a_line_or_an_event_is_chosen_by_its_number_or_by_words_of_its_name(
    run_knockon: Run, case: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    typed = ["?", "event", "battery", "", ""]
    answers = iter([*typed, "R. Vant", ""])
    monkeypatch.setattr("builtins.input", lambda: next(answers))
    ran = run_knockon("record", str(case), "--at", "2026-03-07")
    assert ran.code == 0, ran.err
    assert "2 12 V battery disconnected or flat" in " ".join(ran.err.split())
    assert log_of(case)[-1]["event"] == "ev_lv_off"


def test_without_a_reading_the_prompt_does_not_take_an_empty_result(
    run_knockon: Run, case: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    answers = iter(["done", "final quality", "", "passed", "pass", "R. Lind", ""])
    monkeypatch.setattr("builtins.input", lambda: next(answers))
    ran = run_knockon("record", str(case), "--at", "2026-03-07")
    assert ran.code == 0, ran.err
    assert "did you mean `pass`?" in ran.err
    assert (log_of(case)[-1]["did"], log_of(case)[-1]["result"]) == ("qc_final", "pass")


def test_an_end_of_input_writes_nothing(
    run_knockon: Run, case: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def end() -> str:
        raise EOFError

    monkeypatch.setattr("builtins.input", end)
    before = case.read_bytes()
    assert run_knockon("record", str(case)).code == 1
    assert case.read_bytes() == before


# What is refused


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--did", "ocs_chek", "--result", "pass"), "did you mean `ocs_check`?"),
        (("--did", "ocs_check.banana", "--result", "pass"), "no place is called `banana`"),
        (("--did", "ocs_check", "--result", "passed"), "is not one of: pass, fail, aborted"),
        (("--event", "ev_seat"), "no event is called `ev_seat`"),
        (("--event", "ev_host_ri", "--part", "bumper"), "no part is called `bumper`"),
        (("--did", "ocs_check", "--event", "ev_seat_out"), "records exactly one thing"),
        (("--did", "ocs_check"), "but not with what outcome"),
        (("--did", "ocs_check", "--reading", "leer=2.5 lb"), "asks for no reading called `leer`"),
        (("--did", "ocs_check", "--reading", "emty=2.5 lb"), "did you mean `empty`?"),
        (("--did", "ocs_check", "--reading", "empty=2.5..-2.5 lb"), "look swapped"),
        (("--did", "ocs_check", "--reading", "empty=2.5 zorks"), "is not a unit"),
        (("--did", "ocs_check", "--reading", "empty=2.5"), "is not a reading"),
        (("--did", "ocs_check", "--reading", "empty=2.5 V"), "cannot be compared"),
        (("--did", "ocs_check", "--reading", "empty=1 lb", "--reading", "empty=2 lb"), "is given twice"),
        (("--did", "scan_post", "--code", "X99"), "is not a trouble code"),
        (("--did", "ocs_check", "--result", "pass", "--at", "2026-02-30"), "is not a date"),
        (("--did", "ocs_check", "--result", "pass", "--at", "2026-03-06T25:00"), "is not a date"),
    ],
)
def test_what_is_wrong_is_refused_before_anything_is_written(
    run_knockon: Run, case: Path, options: tuple[str, ...], said: str
) -> None:
    before = case.read_bytes()
    when = () if "--at" in options else ("--at", "2026-03-06")
    ran = run_knockon("record", str(case), *options, *when)
    assert ran.code == 2
    assert said in " ".join(ran.err.split())
    assert "next:" in ran.err or "did you mean" in ran.err
    assert case.read_bytes() == before
    assert [p.name for p in case.parent.iterdir()] == ["case.yaml"]


@pytest.mark.parametrize("wrong", ["ahead", "behind", "twice"])
def test_odd_dates_and_repeats_are_kept_with_a_note(run_knockon: Run, case: Path, wrong: str) -> None:
    at = {"ahead": "2099-01-01", "behind": "2026-03-01", "twice": "2026-03-05"}[wrong]
    ran = run_knockon("record", str(case), "--did", "photo_set", "--result", "pass", "--at", at)
    assert ran.code == 0
    words = {"ahead": "dated after the case", "behind": "out of time order", "twice": "in the log twice"}
    assert words[wrong] in " ".join(ran.out.split())
    assert len(log_of(case)) == 2


def test_a_folder_that_cannot_be_written_is_a_message(
    run_knockon: Run, case: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def closed(*_: object, **__: object) -> int:
        raise PermissionError(13, "Permission denied")

    before = case.read_bytes()
    monkeypatch.setattr(
        "knockon.cli.files.os.open", closed
    )  # rights do not stop whoever runs the tests as root
    ran = run_knockon("record", str(case), "--did", "photo_set", "--result", "pass")
    assert ran.code == 2
    assert "permission denied" in ran.err
    assert case.read_bytes() == before


def test_a_file_closed_for_writing_stays_as_it_is(run_knockon: Run, case: Path) -> None:
    case.chmod(stat.S_IRUSR)
    before = case.read_bytes()
    ran = run_knockon("record", str(case), "--did", "photo_set", "--result", "pass")
    assert ran.code == 2
    assert "read-only" in ran.err
    assert case.read_bytes() == before


# Every other byte stays


@pytest.mark.parametrize(
    "text",
    [
        "case: a\ndate: 2026-03-18\n",
        "case: a\ndate: 2026-03-18",
        "case: a\ndate: 2026-03-18\nlog:\n",
        "case: a\ndate: 2026-03-18\nlog:  # nothing yet\n  # one line a day\n",
        "case: a\ndate: 2026-03-18\nlog: []  # nothing yet\nnotes: b\n",
        "case: a\ndate: 2026-03-18\nlog: [{at: 2026-03-05, did: photo_set}] # one\n",
        "case: a\nlog:\n- at: 2026-03-05\n  did: photo_set   # odd\n\n\n# about the date\ndate: 2026-03-18\n",
        "case: a\nlog:\n      - {at: 2026-03-05, did: photo_set}\n      # last word\n\ndate: 2026-03-18\n",
        "case: a\nlog:\n  - at: 2026-03-05\n    did: photo_set\n    note: |\n      a\n\ndate: 2026-03-18\n",
        "\ufeffcase: a\r\ndate: 2026-03-18\r\nlog:\r\n  - {at: 2026-03-05, did: photo_set}\r\n",
        "# top\n---\ncase: a\ndate: 2026-03-18\nlog:\n  - {at: 2026-03-05, did: photo_set}\n...\n",
        "case: a\ndate: 2026-03-18\nlog:\n  -\n    at: 2026-03-05\n    did: photo_set\n",
    ],
)
def test_the_rest_of_the_file_stays_byte_for_byte(text: str) -> None:
    new = append_entry(text, "case.yaml", ENTRY)
    kept, rest = iter(new.splitlines()), text.splitlines()
    for line in rest:
        if "log: [" in line:
            line = line[: line.index("]")]
            assert any(other.startswith(line) for other in kept)
        else:
            assert line in kept  # every old line is there, in order
    assert ("\r\n" in new) == ("\r\n" in text)
    tree = parse_tree(new.removeprefix("\ufeff"), "case.yaml", Messages())
    assert tree is not None
    assert tree.value["log"][-1] == ENTRY


@pytest.mark.parametrize(
    "text",
    [
        "{case: a, date: 2026-03-18}\n",
        "case: a\ndate: 2026-03-18\nlog: [\n  {at: 2026-03-05, did: photo_set}\n]\n",
        "case: a\ndate: 2026-03-18\nlog: some words\n",
        "case: a\nlog:\n  - {at: 2026-03-05, note: a}\n  - at: 2026-03-05\n    note: |+\n      keeps\n\n",
        "[1, 2]\n",
        ": : :\n",
    ],
)
def test_a_form_that_cannot_be_added_to_is_refused_with_the_entry_to_add_by_hand(text: str) -> None:
    with pytest.raises(InputError) as caught:
        append_entry(text, "case.yaml", ENTRY)
    assert "event: ev_seat_out" in caught.value.messages.items[0].next_step


@pytest.mark.parametrize(
    "words", ["- x", "a: b", "# no", "null", "1e3", "'", '"', "line\nbreak", "\u2028", "", " x "]
)
def test_any_words_come_back_as_they_were(words: str) -> None:
    text = append_entry("case: a\ndate: 2026-03-18\n", "case.yaml", {**ENTRY, "note": words})
    tree = parse_tree(text, "case.yaml", Messages())
    assert tree is not None
    assert tree.value["log"][0]["note"] == words


def test_a_link_stays_a_link_and_rights_stay(case: Path, program: Program) -> None:
    case.chmod(0o640)
    link = case.with_name("link.yaml")
    link.symlink_to(case)
    append(link, ENTRY, program)
    assert link.is_symlink()
    assert stat.S_IMODE(case.stat().st_mode) == 0o640
    assert len(log_of(case)) == 2


def test_the_example_can_be_added_to(program: Program) -> None:
    text = EXAMPLE.read_text("utf-8")
    new = append_entry(text, "case.yaml", ENTRY)
    assert new.startswith(text)
    assert len(read(new, program).log) == len(read(text, program).log) + 1


# Kills and crowds


def _write_for_ever(path: Path, texts: list[str]) -> None:
    while True:
        for text in texts:
            with locked(path):
                write_atomically(path, text)


def _append_for_ever(path: Path, program: Program) -> None:
    while True:
        append(path, ENTRY, program)


def _killed(target: object, arguments: tuple[object, ...], after: float) -> None:
    child = FORK.Process(target=target, args=arguments)  # type: ignore[arg-type]
    child.start()
    time.sleep(after)
    assert child.pid is not None
    os.kill(child.pid, signal.SIGKILL)
    child.join()
    assert child.exitcode == -signal.SIGKILL


def test_a_kill_at_any_moment_leaves_the_old_file_or_the_new_one(tmp_path: Path) -> None:
    path, moment = tmp_path / "case.yaml", random.Random(5)
    texts = ["a" * 200_000, "b" * 300_000]
    path.write_text(texts[0])
    for _ in range(40):
        _killed(_write_for_ever, (path, texts), moment.uniform(0.001, 0.02))
        assert path.read_text() in texts
    with locked(path):
        assert sorted(p.name for p in tmp_path.iterdir()) == [
            ".case.yaml.lock",
            "case.yaml",
        ]  # nothing half written
    assert [p.name for p in tmp_path.iterdir()] == ["case.yaml"]


def test_a_kill_while_recording_loses_no_earlier_entry(case: Path, program: Program) -> None:
    moment, before = random.Random(6), 1
    for _ in range(6):
        _killed(_append_for_ever, (case, program), moment.uniform(0.05, 0.3))
        entries = log_of(case)
        assert len(entries) >= before
        assert all(entry == ENTRY for entry in entries[1:])
        before = len(entries)
    assert before > 1


def _append_some(path: Path, program: Program, name: str, many: int) -> None:
    for number in range(many):
        append(path, {**ENTRY, "by": name, "note": f"number {number}"}, program)


def test_two_writers_at_once_lose_nothing(case: Path, program: Program) -> None:
    crowd = [FORK.Process(target=_append_some, args=(case, program, name, 8)) for name in ("A", "B", "C")]
    for child in crowd:
        child.start()
    for child in crowd:
        child.join()
    assert [child.exitcode for child in crowd] == [0, 0, 0]
    for name in ("A", "B", "C"):
        own = [entry["note"] for entry in log_of(case) if entry.get("by") == name]
        assert own == [f"number {number}" for number in range(8)]
