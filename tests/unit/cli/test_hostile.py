"""Hostile packs, cases and names: nothing runs, nothing outside is read or written, nothing steers the terminal."""

from __future__ import annotations

import io
import json
import os
import re
import subprocess
import sys
import time
from pathlib import Path

import pytest
from command import TOP, Run, installed
from written_pack import HEAD, WORDS, rule, write

EXAMPLE = TOP / "examples/front-corner/case.yaml"
STEERS = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")
EVIL = "a\x1b[2J\x1b]0;owned\x07\x9b31m\u202egpj.exe\u2066\u200f"
QUOTED = json.dumps(EVIL)
CASE = f"""\
case: {QUOTED}
date: 2026-11-20
vehicle: {{name: {QUOTED}}}
intake: {{event_type: collision, area: [front]}}
log:
  - {{at: 2026-11-20, event: ev_seat_out, by: {QUOTED}, note: {QUOTED}}}
  - {{at: 2026-11-21, waived: ocs_check, by: {QUOTED}, why: {QUOTED}}}
"""


@pytest.fixture
def evil(tmp_path: Path) -> Path:
    """A folder with a case, a pack and a body of cases, whose names and words try to steer the terminal."""
    (tmp_path / f"{EVIL}.yaml").write_text(CASE, "utf-8")
    words = WORDS.replace("title: nose", f"title: {QUOTED}").replace("title: look", f"title: {QUOTED}")
    text = rule("T001").replace("one sentence", QUOTED).replace("it moves", QUOTED)
    write(tmp_path / f"pack{EVIL}", text + rule("T002", then="{plan: lok}"), words)
    write(tmp_path / f"good{EVIL}", text, words)
    (tmp_path / f"{EVIL}.jsonl").write_text(f'{{"case": {QUOTED}, "date": "2026-11-20"}}\n{{"{EVIL}": 1}}\n')
    return tmp_path


COMMANDS = (
    *(f"plan CASE --format {f}" for f in ("text", "json", "html", "markdown", "csv")),
    "plan CASE --pack good", "plan CASE --pack bad", "plan CASE --out OUT.txt", "why CASE ocs_check --depth tree",
    "why CASE scan_pre --format json", "why CASE EVIL", "why-not CASE EVIL", "why-not CASE ocs_zero", "handover CASE",
    "handover CASE --format json", "supplement CASE CASE", "supplement CASE --since EVIL", "supplement CASE CASE --format json",
    "record CASE --event ev_seat_out --note EVIL --at 2026-11-22", "record CASE --event EVIL", "record CASE --did EVIL",
    "record CASE --did ocs_check --reading EVIL", "record CASE --did scan_post --code EVIL", "record CASE", "intake CASE",
    "intake EVIL", "batch BODY --out OUT.jsonl --workers 1", "batch EVIL --out x", "pack check good", "pack check bad",
    "pack check good --format json", "pack check good --format sarif", "pack try good", "pack matrix good",
    "pack matrix good --format csv", "pack matrix good --format json", "pack matrix good --format html", "pack check EVIL",
    "pack pages good --out OUT", "pack pages good --out OUT --compare", "pack promise good --only EVIL", "schema case --pack good",
    "plan EVIL", "EVIL", "plan --EVIL", "plan CASE --format EVIL",
)  # fmt: skip


@pytest.mark.parametrize("line", COMMANDS)
def test_nothing_that_steers_a_terminal_comes_out(
    evil: Path, run_knockon: Run, monkeypatch: pytest.MonkeyPatch, line: str
) -> None:
    typed = iter([EVIL, "done", EVIL, "ocs_check", EVIL, EVIL])

    def type_(*_: object) -> str:
        try:
            return next(typed)
        except StopIteration:
            raise EOFError from None

    monkeypatch.setattr("builtins.input", type_)
    monkeypatch.setattr(sys, "stdin", io.StringIO(f"{EVIL}\n" * 20))
    names = {"CASE": f"{EVIL}.yaml", "BODY": f"{EVIL}.jsonl", "OUT": f"out{EVIL}", "EVIL": EVIL}
    names |= {"good": f"good{EVIL}", "bad": f"pack{EVIL}"}
    words = [re.sub(r"CASE|BODY|OUT|EVIL|\bgood\b|\bbad\b", lambda m: names[m[0]], w) for w in line.split()]
    ran = run_knockon(*words, cwd=evil)
    assert ran.code in (0, 1, 2), ran.err
    assert not STEERS.search(ran.out.replace("\r\n", "\n")), ran.out
    assert not STEERS.search(ran.err), ran.err


def test_what_is_masked_in_json_is_the_same_to_a_program(evil: Path, run_knockon: Run) -> None:
    assert json.loads(run_knockon("plan", f"{EVIL}.yaml", "--format", "json", cwd=evil).out)["case"] == EVIL


def test_names_of_files_are_no_markup_on_the_pages(tmp_path: Path, run_knockon: Run) -> None:
    folder = write(tmp_path / "pack", rule())
    (folder / "words.yaml").rename(folder / "<script>x(1)*_a.yaml")
    (folder / "pack.yaml").write_text(
        HEAD.format(name="tiny", below="").replace("words.yaml", "<script>x(1)*_a.yaml")
    )
    assert run_knockon("pack", "pages", str(folder), "--out", str(tmp_path / "docs")).code == 0
    for page in (tmp_path / "docs").rglob("*.md"):
        assert "<script" not in page.read_text("utf-8").replace("\\<", "")


# Nothing runs


@pytest.mark.parametrize(
    "tag",
    [
        "!!python/object/apply:os.system",
        "!!python/name:os.system",
        "!!python/object/new:os.popen",
        "!x",
        "!!binary",
    ],
)
def test_a_tag_runs_nothing(tmp_path: Path, run_knockon: Run, tag: str) -> None:
    text = f"case: {tag} [touch {tmp_path}/ran]\ndate: 2026-11-20\n"
    (tmp_path / "case.yaml").write_text(text)
    ran = run_knockon("plan", "case.yaml", cwd=tmp_path)
    assert (ran.code, "is not used here" in " ".join(ran.err.split())) == (2, True)
    assert not (tmp_path / "ran").exists()


# Nothing outside is read or written


def test_a_pack_reads_nothing_outside_its_folder(tmp_path: Path, run_knockon: Run) -> None:
    secret = tmp_path / "secret.yaml"
    secret.write_text("hidden: words\n")
    for name in ("pack.yaml", "words.yaml", "x.scenarios.yaml"):
        folder = write(tmp_path / f"pack-{name}", rule())
        (folder / name).unlink(missing_ok=True)
        (folder / name).symlink_to(secret)
        ran = run_knockon("pack", "check", str(folder))
        assert (ran.code, "lies outside the pack" in " ".join((ran.out + ran.err).split())) == (2, True), name
        assert "hidden" not in ran.out + ran.err
    for listed in (str(secret), "../secret.yaml", "sub/../../secret.yaml"):
        folder = write(tmp_path / "pack", rule())
        (folder / "pack.yaml").write_text(HEAD.format(name="tiny", below="").replace("words.yaml", listed))
        ran = run_knockon("plan", str(EXAMPLE), "--pack", str(folder))
        assert (ran.code, "lies outside the pack" in " ".join(ran.err.split())) == (2, True), listed
        assert "hidden" not in ran.err


def test_what_never_ends_is_never_read(tmp_path: Path, run_knockon: Run) -> None:
    folder = write(tmp_path / "pack", rule())
    os.mkfifo(folder / "pipe.yaml")
    (folder / "zero.yaml").symlink_to("/dev/zero")
    (tmp_path / "body").mkdir()
    os.mkfifo(tmp_path / "body" / "pipe.yaml")
    os.mkfifo(tmp_path / "pipe.jsonl")
    begun = time.monotonic()
    for line in (
        f"plan {EXAMPLE} --pack pack", "pack check pack", "plan pipe.jsonl", "batch body --out pipe.jsonl",
        "batch pipe.jsonl --out r.jsonl", f"plan {EXAMPLE} --out pipe.jsonl", "record pipe.jsonl --event ev_seat_out",
    ):  # fmt: skip
        assert run_knockon(*line.split(), cwd=tmp_path).code == 2, line
    assert run_knockon("batch", "body", "--out", "r.jsonl", "--workers", "1", cwd=tmp_path).code == 1
    assert time.monotonic() - begun < 60


def test_no_answer_takes_the_place_of_what_it_was_made_from(tmp_path: Path, run_knockon: Run) -> None:
    case, body = tmp_path / "case.yaml", tmp_path / "c.jsonl"
    case.write_text(CASE, "utf-8")
    body.write_text("")
    (tmp_path / "link.yaml").symlink_to(case)
    (tmp_path / "hard.yaml").hardlink_to(case)
    for line in (
        "plan case.yaml --out case.yaml", "plan case.yaml --out ./link.yaml", "handover link.yaml --out case.yaml",
        "supplement case.yaml hard.yaml --out hard.yaml", "plan hard.yaml --out case.yaml", "plan case.yaml --out /dev/null",
        "batch c.jsonl --out c.jsonl --resume", "batch c.jsonl --out r.jsonl --parquet r.jsonl", "plan case.yaml --out .",
    ):  # fmt: skip
        ran = run_knockon(*line.split(), cwd=tmp_path)
        assert (ran.code, "KN503" in ran.err) == (2, True), line
    assert case.read_text("utf-8") == CASE
    assert not (tmp_path / "r.jsonl").exists()


def test_the_lock_of_a_case_is_never_a_link(tmp_path: Path, run_knockon: Run) -> None:
    case = tmp_path / "case.yaml"
    case.write_text(CASE, "utf-8")
    (tmp_path / ".case.yaml.lock").symlink_to(tmp_path / "elsewhere")
    assert run_knockon("record", str(case), "--event", "ev_seat_out").code == 2
    assert not (tmp_path / "elsewhere").exists()


# Names and streams no program expects


def test_names_no_file_can_have(tmp_path: Path, run_knockon: Run) -> None:
    (tmp_path / "loop.yaml").symlink_to("loop.yaml")
    for name in ("x" * 300, "loop.yaml"):
        for line in (
            "plan NAME", "record NAME --event ev_seat_out", "handover NAME", "supplement NAME NAME", "why NAME x",
            "batch NAME --out r", "pack check NAME", "pack pages --out NAME", f"plan {EXAMPLE} --pack NAME",
        ):  # fmt: skip
            ran = run_knockon(*[w.replace("NAME", name) for w in line.split()], cwd=tmp_path)
            assert ran.code == 2, (line, name[:20], ran.err[-200:])
            assert "fault" not in ran.err


def test_a_stream_that_is_closed_is_no_fault(tmp_path: Path) -> None:
    knockon = Path(sys.executable).with_name("knockon")
    for closed in (">&-", "2>&-", "<&-", "<&- >&- 2>&-"):
        shell = f"'{knockon}' plan '{EXAMPLE}' {closed}"
        ran = subprocess.run(["sh", "-c", shell], capture_output=True, text=True)
        assert (ran.returncode, "fault" in ran.stdout + ran.stderr) in ((0, False), (1, False)), closed


def test_an_encoding_that_lacks_a_letter_is_no_fault(tmp_path: Path) -> None:
    (tmp_path / "é.yaml").write_text(CASE.replace("collision", "colisión"), "utf-8")
    (tmp_path / "good.yaml").write_text('case: "Zoë 车"\ndate: 2026-11-20\n', "utf-8")
    for name, code in (("é.yaml", (2,)), ("good.yaml", (0, 1)), ("good.yaml", (0, 1))):
        ran = installed("plan", name, cwd=tmp_path, PYTHONIOENCODING="ascii", PYTHONUTF8="0")
        assert ran.code in code, ran.err


@pytest.mark.parametrize(
    "name", ["-x.yaml", "--help", "a b;c.yaml", "%s{0}.yaml", os.fsdecode(b"\xff\xfe.yaml")]
)
def test_any_name_a_file_can_have_is_read_and_written(tmp_path: Path, run_knockon: Run, name: str) -> None:
    body = tmp_path / "body"
    body.mkdir()
    (body / name).write_bytes(EXAMPLE.read_bytes())
    for format in ("text", "json", "html", "markdown", "csv"):
        ran = run_knockon("plan", "--format", format, f"--out={name}.out", "--", name, cwd=body)
        assert (ran.code, ran.err, (body / f"{name}.out").stat().st_size > 1000) == (0, "", True), format
    assert run_knockon("record", "--event", "ev_seat_out", "--", name, cwd=body).code == 0
    if not name.isprintable():
        ran = run_knockon("batch", "body", f"--out={name}", "--workers", "1", cwd=tmp_path)
        assert (ran.code, json.loads((tmp_path / name).read_text("utf-8"))["at"]) == (0, f"body/{name}")


def test_a_note_that_is_no_text_is_kept_as_far_as_it_is(tmp_path: Path, run_knockon: Run) -> None:
    case = tmp_path / "case.yaml"
    case.write_text(CASE, "utf-8")
    note = os.fsdecode(b"seat\xff out")
    assert run_knockon("record", str(case), "--event", "ev_seat_out", "--note", note).code == 0
    assert "note: seat\ufffd out" in case.read_text("utf-8").replace('"', "")


@pytest.mark.parametrize("figure", ["9" * 400, "9" * 400 + " km/h", "1e999 km/h", "x" * 9000])
def test_a_figure_without_end_is_told_in_short(tmp_path: Path, run_knockon: Run, figure: str) -> None:
    (tmp_path / "case.yaml").write_text(f"case: a\ndate: 2026-11-20\nscan: {{delta_v: {figure}}}\n")
    ran = run_knockon("plan", "case.yaml", cwd=tmp_path)
    assert (ran.code, "inf " in ran.err) == (2, False)
    assert len(ran.err) < 900


STRANGE = (
    {"COLUMNS": "0", "LINES": "0", "LANG": "C", "LC_ALL": "xx.bad", "TERM": "dumb", "HOME": "/nonexistent"},
    {"COLUMNS": "-5", "TERM": "", "HOME": "relative", "XDG_CACHE_HOME": "", "TMPDIR": "/nonexistent"},
    {"COLUMNS": "x", "TERM": "none", "HOME": "", "XDG_CACHE_HOME": "relative", "PYTHONWARNINGS": "error"},
    {"KNOCKON_CACHE": "/dev/null", "PYTHONOPTIMIZE": "2", "TZ": "No/Where", "FORCE_COLOR": "1"},
)


@pytest.mark.parametrize("environment", STRANGE, ids=range(4))
def test_no_setting_of_the_system_changes_a_plan(
    tmp_path: Path, run_knockon: Run, environment: dict[str, str]
) -> None:
    (tmp_path / "case.yaml").write_bytes(EXAMPLE.read_bytes())
    ran = installed("plan", "case.yaml", cwd=tmp_path, **{"KNOCKON_CACHE": "", **environment})
    assert ran == run_knockon("plan", "case.yaml", cwd=tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["case.yaml"]
