"""Vehicle number and crash figures of a case: facts beside what was told, differences asked, mistakes placed."""

from __future__ import annotations

from pathlib import Path

import pytest
from knockon.engine.diagnostics.message import InputError, Messages
from knockon.engine.load.case import load_case
from knockon.engine.model.case import Case
from knockon.engine.model.program import Program

# A vehicle number in general use to show the check digit; it names no vehicle on the road.
GOOD, WRONG_DIGIT = "1M8GDM9AXKP042788", "1M8GDM9A1KP042788"


def read(program: Program, tmp_path: Path, body: str) -> tuple[Case, Messages]:
    path, messages = tmp_path / "case.yaml", Messages()
    path.write_text(f"case: a\ndate: 2026-11-16\n{body}\n")
    return load_case(path, program, messages), messages


def refused(program: Program, tmp_path: Path, body: str) -> list[tuple[str, str]]:
    with pytest.raises(InputError) as error:
        read(program, tmp_path, body)
    return [(m.code, str(m.culprits[0].span).split(":", 1)[1]) for m in error.value.messages.errors]


def known(case: Case, fact: str) -> set[object] | None:
    values = case.state(("fact", fact)).known
    return None if values is None else set(values)


def test_the_model_year_comes_from_the_number_and_says_so(program: Program, tmp_path: Path) -> None:
    case, _ = read(program, tmp_path, f"vehicle: {{vin: {GOOD}, market: us}}")
    assert known(case, "model_year") == {1989.0}
    assert case.state(("fact", "model_year")).said_by.startswith("computed: position 10")


def test_outside_its_market_the_number_gives_no_year(program: Program, tmp_path: Path) -> None:
    assert known(read(program, tmp_path, f"vehicle: {{vin: {GOOD}, market: un}}")[0], "model_year") is None


def test_a_told_year_stands_and_the_difference_is_asked(program: Program, tmp_path: Path) -> None:
    case, messages = read(program, tmp_path, f"vehicle: {{vin: {GOOD}, market: us, model_year: 1990}}")
    assert known(case, "model_year") == {1990.0}
    assert [(m.code, m.level) for m in messages] == [("KN331", "warning")]
    assert len(case.answers.disputes) == 1


@pytest.mark.parametrize(
    ("vin", "market", "columns"),
    [
        (WRONG_DIGIT, "us", [24]),
        (WRONG_DIGIT, "un", []),
        ("1M8GDMQAXKPO42788", "us", [22, 27]),
        (GOOD[:-1], "us", [32]),
    ],
)
def test_a_wrong_number_is_pointed_at_where_it_is_wrong(
    program: Program, tmp_path: Path, vin: str, market: str, columns: list[int]
) -> None:
    body = f"vehicle: {{vin: {vin}, market: {market}}}"
    if not columns:
        read(program, tmp_path, body)
        return
    assert refused(program, tmp_path, body) == [("KN330", f"3:{column}") for column in columns]


@pytest.mark.parametrize(
    ("crash", "facts"),
    [
        ("direction_deg: 90", {"force_clock": {"3"}}),
        ("damage_code: 12FDEW2", {"force_clock": {"12"}, "area": {"front"}, "zone": {"fl", "fc", "fr"}}),
        (
            "longitudinal_delta_v: {value: -18, unit: km/h}, lateral_delta_v: {value: 0, unit: km/h}",
            {"delta_v": {18.0}, "force_clock": {"12"}},
        ),
        (
            "closing_speed: {value: 20, unit: km/h}, own_mass: {value: 1500, unit: kg}, other_mass: {value: 1500, unit: kg}",
            {"delta_v": {11.0}},
        ),
        ("closing_speed: {value: 20, unit: km/h}", {"delta_v": None}),
    ],
)  # fmt: skip
def test_figures_become_facts_with_their_formula(
    program: Program, tmp_path: Path, crash: str, facts: dict[str, set[object] | None]
) -> None:
    case, messages = read(program, tmp_path, f"crash: {{{crash}}}")
    assert messages.items == []
    for fact, values in facts.items():
        assert known(case, fact) == values
        if values is not None:
            assert case.state(("fact", fact)).said_by.startswith(("computed: ", "estimated: "))
            assert case.state(("fact", fact)).span.line == 3


def test_what_was_told_is_never_overwritten_and_a_difference_is_asked(
    program: Program, tmp_path: Path
) -> None:
    case, messages = read(program, tmp_path, 'intake: {force_clock: "9"}\ncrash: {direction_deg: 90}')
    assert known(case, "force_clock") == {"9"}
    assert [(m.code, m.level) for m in messages] == [("KN331", "warning")]
    assert [str(c.span).split(":", 1)[1] for c in messages.items[0].culprits] == ["3:23", "4:24"]


def test_told_and_computed_that_agree_are_no_question(program: Program, tmp_path: Path) -> None:
    case, messages = read(program, tmp_path, 'intake: {force_clock: "3"}\ncrash: {direction_deg: 95}')
    assert (known(case, "force_clock"), messages.items) == ({"3"}, [])


@pytest.mark.parametrize(
    ("crash", "places"),
    [
        ("direction_deg: 400", [("KN332", "3:24")]),
        ("damage_code: 12QDEW2", [("KN332", "3:24")]),
        ("damage_code: 12F", [("KN332", "3:25")]),
        ("longitudinal_delta_v: {value: 12, unit: mph}", [("KN305", "3:49")]),
        ("closing_speed: {value: 20, unit: km/h}, own_mass: {value: 1, unit: kg}, other_mass: {value: 0, unit: kg}",
         [("KN332", "3:93")]),
        ("closing_speed: {value: -2, unit: km/h}, own_mass: {value: 1, unit: kg}, other_mass: {value: 1, unit: kg}",
         [("KN332", "3:24")]),
    ],
)  # fmt: skip
def test_a_figure_that_cannot_be_is_pointed_at(
    program: Program, tmp_path: Path, crash: str, places: list[tuple[str, str]]
) -> None:
    assert refused(program, tmp_path, f"crash: {{{crash}}}") == places
