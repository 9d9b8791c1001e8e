"""`knockon intake` from a pipe: what is asked, what is written, and that nothing is ever lost."""

from __future__ import annotations

import io
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from command import TOP, Ran, Run, installed

Typed = Callable[..., Ran]

BARE = "# told by telephone\ncase: lr-1\ndate: 2026-11-20  # today\n"
FULL = (TOP / "examples/front-corner/case.yaml").read_text("utf-8")


class Hands(io.StringIO):
    """Types line after line; a callable instead of a line is run and then the next line is typed."""

    def __init__(self, lines: tuple[str | Callable[[], object], ...]) -> None:
        super().__init__()
        self.waiting = list(lines)

    def readline(self, size: int | None = -1, /) -> str:
        while self.waiting:
            line = self.waiting.pop(0)
            if isinstance(line, str):
                return f"{line}\n"
            line()
        return ""


@pytest.fixture
def typed(run_knockon: Run, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Typed:
    """Runs `knockon intake` in an empty folder with these lines typed."""

    def run(*lines: str | Callable[[], object], at: tuple[str, ...] = ("case.yaml",)) -> Ran:
        monkeypatch.setattr(sys, "stdin", Hands(lines))
        return run_knockon("intake", "--check-only", *at, cwd=tmp_path)

    return run


def written(folder: Path, text: str) -> Path:
    path = folder / "case.yaml"
    path.write_text(text, encoding="utf-8", newline="")
    return path


def asked(ran: Ran) -> list[str]:
    """The facts asked for, in order."""
    return [line.split("]")[0].lstrip(" [") for line in ran.out.splitlines() if line.startswith("  [")]


def test_a_new_case_reads_as_if_a_person_had_written_it(typed: Typed, tmp_path: Path) -> None:
    ran = typed("lr-9", "2026-11-20", "Tolva Brisk, hatchback", "1", "1, left", "no", "low")
    assert ran.code == 1
    assert (tmp_path / "case.yaml").read_text() == (
        "case: lr-9\n"
        "date: 2026-11-20\n"
        "\n"
        "vehicle:\n"
        "  name: Tolva Brisk, hatchback\n"
        "\n"
        "intake:\n"
        "  event_type: collision  # kind of event\n"
        "  area: [front, left]  # damage area\n"
        "  rollover: no  # roll past the side\n"
        "  impact_speed: low  # closing speed\n"
    )
    assert asked(ran)[:4] == ["event_type", "area", "rollover", "impact_speed"]
    assert "4 answers saved in case.yaml" in ran.out
    assert all(len(line) <= 80 for line in (ran.out + ran.err).splitlines())


def test_sides_may_be_said_without_commas_and_a_slip_still_finds_its_side(
    typed: Typed, tmp_path: Path
) -> None:
    written(tmp_path, BARE + "intake: {event_type: collision}\n")
    typed("rear lef", "q")
    assert "area: [rear, left]" in (tmp_path / "case.yaml").read_text()


def test_a_question_mark_is_no_name_and_a_day_that_is_none_is_said_to_be_none(
    typed: Typed, tmp_path: Path
) -> None:
    ran = typed("?", "lr-9", "2026-13-25", "2026-11-25", "", "q")
    assert "any name your shop finds the job by" in ran.out
    assert "`2026-13-25` is no day" in ran.out
    assert (tmp_path / "case.yaml").read_text() == "case: lr-9\ndate: 2026-11-25\n"


def test_two_steps_back_the_answers_after_it_are_asked_again(typed: Typed, tmp_path: Path) -> None:
    written(tmp_path, BARE)
    ran = typed("collision", "rear", "no", "b", "b", "front", "no", "q")
    assert "those after it are then asked again" in " ".join(ran.out.split())
    assert asked(ran)[4:7] == ["rollover", "area", "rollover"]
    assert "area: [front]" in (tmp_path / "case.yaml").read_text()


def test_two_steps_back_and_stopping_keeps_all_answers(typed: Typed, tmp_path: Path) -> None:
    written(tmp_path, BARE)
    typed("collision", "rear", "no", "b", "b", "q")
    text = (tmp_path / "case.yaml").read_text()
    assert "area: [rear]" in text
    assert "rollover: no" in text


def test_without_a_file_name_the_case_names_its_file(typed: Typed, tmp_path: Path) -> None:
    ran = typed("", "LR 1047 / b", "17.11.2026", "", "", at=())
    assert (tmp_path / "LR-1047-b.yaml").read_text().startswith("case: LR 1047 / b\ndate: 20")
    assert ran.code == 1


def test_an_end_of_input_before_there_is_a_case_writes_nothing(typed: Typed, tmp_path: Path) -> None:
    ran = typed("lr-9")
    assert ran.code == 1
    assert "nothing was written" in ran.out
    assert list(tmp_path.iterdir()) == []


def test_a_second_run_goes_on_where_the_first_stopped(typed: Typed, tmp_path: Path) -> None:
    written(tmp_path, BARE)
    first = typed("1", "q")
    second = typed("1")
    assert asked(first) == ["event_type", "area"]
    assert asked(second)[0] == "area"
    assert (tmp_path / "case.yaml").read_text() == BARE + (
        "\nintake:\n  event_type: collision  # kind of event\n  area: [front]  # damage area\n"
    )


def test_what_is_not_known_yet_is_not_asked_again_in_the_same_run(typed: Typed, tmp_path: Path) -> None:
    path = written(tmp_path, BARE)
    ran = typed(*["-", ""] * 80)
    assert ran.code == 1
    assert len(asked(ran)) == len(set(asked(ran))) > 40
    assert path.read_text() == BARE
    assert "0 answers saved" in ran.out


def test_nothing_is_asked_when_nothing_could_change_the_plan(typed: Typed, tmp_path: Path) -> None:
    path = written(tmp_path, FULL)
    ran = typed("1", "2", at=("case.yaml", "--everyone"))
    assert (ran.code, asked(ran)) == (0, [])
    assert "Nothing left to ask at this stage." in ran.out
    assert path.read_text() == FULL


def test_a_stage_asks_only_what_its_role_can_answer(typed: Typed, tmp_path: Path) -> None:
    written(tmp_path, BARE)
    ran = typed(*[""] * 80, at=("case.yaml", "--stage", "technician"))
    assert "module_new" in asked(ran)
    assert "event_type" not in asked(ran)


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ("99", "`99` is none of them"),
        ("colision", "did you mean `collision`?"),
        ("hit", "`hit` fits several: hit by or against something, hit an animal"),
        ("\x1b[2Jx", "is none of them"),
        ("x" * 5000, "that is too long"),
    ],
)
def test_what_is_no_answer_is_said_and_asked_again(
    typed: Typed, tmp_path: Path, wrong: str, said: str
) -> None:
    path = written(tmp_path, BARE)
    ran = typed(wrong, "animal")
    assert said in " ".join(ran.out.split())
    assert "\x1b" not in ran.out
    assert "event_type: animal" in path.read_text()


def test_help_says_what_each_answer_would_do(typed: Typed, tmp_path: Path) -> None:
    written(tmp_path, BARE + "intake: {event_type: collision, area: [front, left]}\n")
    ran = typed("?")
    assert "a roll is ruled out only by a clean roof" in ran.out
    assert "no: drops latch, striker and child-lock check (right)" in ran.out
    assert asked(ran) == ["rollover", "rollover"]


def test_one_step_back_answers_the_last_question_anew(typed: Typed, tmp_path: Path) -> None:
    path = written(tmp_path, BARE)
    ran = typed("hail", "b", "b", "collision", "front")
    assert "no further back" in ran.out
    assert "event_type: collision" in path.read_text()
    assert "hail" not in path.read_text()
    assert "area: [front]" in path.read_text()


def test_one_step_back_can_take_an_answer_away(typed: Typed, tmp_path: Path) -> None:
    path = written(tmp_path, BARE)
    typed("hail", "b", "-", "q")
    assert path.read_text() == BARE


def test_fitted_systems_are_asked_by_area_and_the_rest_may_stay_open(typed: Typed, tmp_path: Path) -> None:
    written(tmp_path, BARE)
    known = ("--stage", "lookup")
    skipped = ["" for _ in range(60)]
    ran = typed(*skipped, at=("case.yaml", *known))
    order = asked(ran)
    before = [""] * order.index("fitted.front_assist")
    typed(*before, "forward camera, head-up", "", "q", at=("case.yaml", *known))
    text = (tmp_path / "case.yaml").read_text()
    assert text == BARE + (
        "\nfitted:\n  yes:\n    - cam_front  # forward camera\n    - hud  # head-up display\n"
    )
    ran = typed(*[""] * order.index("fitted.front_assist"), "0", at=("case.yaml", *known))
    assert "    - radar_front  # front radar\n" in (tmp_path / "case.yaml").read_text().split("  no:\n")[1]


def test_a_part_is_found_by_words_and_added_with_side_work_and_damage(typed: Typed, tmp_path: Path) -> None:
    path = written(tmp_path, BARE)
    ran = typed("a", "trim shield", "right", "ri", "none", "bumper", "nothing", "", "q")
    assert ran.code == 1
    lines = path.read_text().splitlines()
    assert "  - {part: door_trim, side: right, actions: [ri], damage: none}" in lines


def test_a_part_and_a_system_are_found_by_what_the_trade_calls_them(typed: Typed, tmp_path: Path) -> None:
    path = written(tmp_path, BARE)
    ran = typed("a", "tow bar", "ri", "none", "fascia", "2", "rr", "broken", "q")
    lines = path.read_text().splitlines()
    assert "  - {part: hitch, actions: [ri], damage: none}" in lines
    shown = " ".join(ran.out.split())
    assert "1 front bumper cover" in shown  # `fascia` is said of several parts, so it is asked which
    assert "  - {part: instrument_panel, actions: [rr], damage: broken}" in lines
    stage = ("case.yaml", "--stage", "scan_tech")
    before = [""] * asked(typed(*[""] * 60, at=stage)).index("scan_pre_state")
    typed(*before, "done", "blind spot monitor, esp", "q", at=stage)
    codes = path.read_text().split("    yes:\n")[1].splitlines()[:2]
    assert [line.split()[1] for line in codes] == ["radar_corner_rear", "abs_esc"]


def test_a_scan_counts_as_done_only_with_its_codes(typed: Typed, tmp_path: Path) -> None:
    path = written(tmp_path, BARE)
    stage = ("case.yaml", "--stage", "scan_tech")
    before = [""] * asked(typed(*[""] * 60, at=stage)).index("scan_pre_state")
    ran = typed(*before, "done", "", "q", at=stage)
    assert "counts as done once its codes are known" in " ".join(ran.out.split())
    assert path.read_text() == BARE
    typed(*before, "done", "eps, front radar", "q", at=stage)
    assert path.read_text() == BARE + (
        "\nscan:\n  scan_pre_state: done  # pre-repair scan\n  codes:\n    yes:\n"
        "      - radar_front  # front radar\n      - eps  # electric power steering\n"
    )


def test_answers_that_exclude_each_other_are_shown_with_both_places(typed: Typed, tmp_path: Path) -> None:
    text = BARE + "intake:\n  event_type: collision\n  vehicle_state: parked_unattended\n"
    path = written(tmp_path, text)
    first = typed(*[""] * 60)
    before = [""] * asked(first).index("pass_seat_load")
    ran = typed(*before, "adult", "empty", "q")
    assert "KN314 error: these answers exclude each other" in ran.err
    assert "at case.yaml:6:18" in ran.err
    assert "at case.yaml:7:19" in ran.err
    assert asked(ran).count("pass_seat_load") == 2
    assert path.read_text() == text + "  pass_seat_load: empty  # load on the front passenger seat\n"


def test_what_is_typed_for_a_date_or_number_is_judged_as_in_the_file(typed: Typed, tmp_path: Path) -> None:
    path = written(tmp_path, BARE)
    before = [""] * asked(typed(*[""] * 80)).index("gvwr_kg")
    ran = typed(*before, "two tons", "1900 lb", "1900", "q")
    assert "KN304" in ran.err
    assert "KN305" in ran.err
    assert path.read_text().endswith("\n  gvwr_kg: 1900 kg  # gross vehicle weight rating\n")


def test_ctrl_c_keeps_what_was_answered(typed: Typed, tmp_path: Path) -> None:
    def interrupt() -> None:
        raise KeyboardInterrupt

    path = written(tmp_path, BARE)
    ran = typed("hail", interrupt)
    assert ran.code == 130
    assert "every answer before it is kept" in ran.out
    assert "event_type: hail" in path.read_text()


def test_a_read_only_file_is_left_alone(typed: Typed, tmp_path: Path) -> None:
    path = written(tmp_path, BARE)
    path.chmod(0o444)
    ran = typed("hail")
    assert ran.code == 2
    assert "read-only" in ran.err
    assert asked(ran) == []
    assert path.read_text() == BARE


def test_what_others_write_meanwhile_is_kept_and_the_answer_added(typed: Typed, tmp_path: Path) -> None:
    path = written(tmp_path, BARE)
    theirs = BARE + "intake:\n  area: [rear]  # seen by the blueprinter\n"
    ran = typed(lambda: path.write_text(theirs), "collision", "q")
    assert "KN324 note" in ran.err
    assert path.read_text() == theirs + "  event_type: collision  # kind of event\n"
    assert "area" not in asked(ran)


def test_the_same_question_answered_by_two_keeps_the_first_answer(typed: Typed, tmp_path: Path) -> None:
    path = written(tmp_path, BARE)
    theirs = BARE + "intake: {event_type: hail}\n"
    ran = typed(lambda: path.write_text(theirs), "collision", "q")
    assert "KN325 note: `event_type` was answered meanwhile: hail" in ran.err
    assert path.read_text() == theirs


def test_a_file_removed_meanwhile_is_written_again(typed: Typed, tmp_path: Path) -> None:
    path = written(tmp_path, BARE)
    ran = typed("collision", path.unlink, "front", "q")
    assert "was removed meanwhile" in ran.err
    assert "event_type: collision" in path.read_text()
    assert "area: [front]" in path.read_text()


def test_a_file_spoilt_meanwhile_is_not_touched(typed: Typed, tmp_path: Path) -> None:
    path = written(tmp_path, BARE)
    theirs = BARE + "intake: [half a\n"
    ran = typed(lambda: path.write_text(theirs), "collision")
    assert ran.code == 2
    assert "KN104" in ran.err
    assert path.read_text() == theirs


def test_no_lock_and_no_half_file_stay_behind(typed: Typed, tmp_path: Path) -> None:
    written(tmp_path, BARE)
    typed("hail", "q")
    assert [p.name for p in tmp_path.iterdir()] == ["case.yaml"]


def test_a_file_that_is_no_case_is_refused_at_once(typed: Typed, tmp_path: Path) -> None:
    written(tmp_path, "case: a\n")
    assert typed("1").code == 2


def test_the_installed_command_takes_answers_from_a_pipe_that_is_closed(tmp_path: Path) -> None:
    written(tmp_path, BARE)
    ran = installed("intake", "case.yaml", cwd=tmp_path)
    assert ran.code == 1
    assert "event_type" in ran.out
