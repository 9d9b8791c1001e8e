"""Every command that reads a file, on spoilt files: exits 0, 1 or 2, no traceback, nothing that steers a terminal."""

from __future__ import annotations

import io
import random
import re
import sys
import time
from pathlib import Path
from typing import Any

import pytest
from command import Run
from fuzzed import examples
from hostile import CASES, ODD, PACK_FILES, spoilt
from hypothesis import given
from hypothesis import strategies as st
from test_fuzz_load import CASES as VALUES
from test_fuzz_load import KEYS, NAMES, PACK, dumped, mutated
from written_pack import HEAD

STEERS = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")
SECONDS = 30.0
CHANCE = st.integers(0, 2**32).map(random.Random)
STRANGE: list[Any] = [
    "\x1b]0;x\x07",
    "\u202ea",
    "<script>",
    "=1+1",
    1e308,
    -1,
    10**15,
    [],
    {},
    None,
    "x" * 500,
]
ON_A_CASE = (
    "plan case.yaml", "plan case.yaml --format json", "plan case.yaml --format html", "plan case.yaml --format csv",
    "plan case.yaml --format markdown", "plan case.yaml --full --possible --considered", "plan case.yaml --check-only",
    "why case.yaml scan_pre", "why case.yaml scan_post --depth tree", "why case.yaml scan_pre --format json",
    "why-not case.yaml ocs_zero", "why-not case.yaml ocs_zero --format json", "handover case.yaml",
    "handover case.yaml --format html", "handover case.yaml --format json", "supplement case.yaml other.yaml",
    "supplement other.yaml case.yaml --format json", "supplement case.yaml --since 2026-11-01 --format markdown",
    "record case.yaml --event ev_seat_out", "record case.yaml --did ocs_check --result pass --at 2026-11-30",
    "intake case.yaml", "intake case.yaml --everyone --check-only",
)  # fmt: skip
ON_A_PACK = (
    "plan good.yaml --pack pack", "pack check pack", "pack check base pack", "pack check pack --format sarif",
    "pack try pack", "pack try pack --conditions", "pack try pack --format json", "pack matrix pack",
    "pack matrix pack --format html", "pack matrix pack --format csv", "pack matrix pack --format json",
    "pack pages pack --out docs", "pack promise pack --seconds 0.5", "schema case --pack pack", "schema rule --pack pack",
    "why good.yaml scan_pre --pack pack", "handover good.yaml --pack pack",
)  # fmt: skip
TYPED = [
    "1",
    "2, 3",
    "0",
    "-",
    "?",
    "a",
    "b",
    "",
    "left",
    "yes",
    "hood",
    "\x1b[31m",
    "\u202e",
    "9" * 50,
    "x" * 3000,
]


@pytest.fixture
def ends_well(run_knockon: Run, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> object:
    """Runs a command line in the folder of this test, and judges how it ended."""

    def run(line: list[str], typed: str = "") -> None:
        monkeypatch.setattr(sys, "stdin", io.StringIO(typed))
        begun = time.process_time()
        ran = run_knockon(*line, cwd=tmp_path)
        assert time.process_time() - begun < SECONDS, line
        assert ran.code in (0, 1, 2), (line, ran.err)
        assert "Traceback" not in ran.err + ran.out
        assert not STEERS.search(ran.err), line
        assert not STEERS.search(ran.out.replace("\r\n", "\n")), line
        assert {p.name for p in tmp_path.iterdir()} <= {
            "case.yaml",
            "other.yaml",
            "good.yaml",
            "pack",
            "docs",
        }

    return run


def case_bytes(chance: random.Random) -> bytes:
    """A case with something out of place: in its bytes, or in what it says."""
    if chance.random() < 0.4:
        return spoilt(chance.choice(CASES), chance, chance.randint(1, 3))
    strange = [*KEYS, *STRANGE]
    return dumped(mutated(chance.choice(VALUES), chance, chance.randint(1, 4), strange)).encode(
        "utf-8", "replace"
    )


def pack_bytes(chance: random.Random) -> bytes:
    """Contents of a pack with something out of place."""
    if chance.random() < 0.3:
        return spoilt(chance.choice(PACK_FILES), chance, chance.randint(1, 4))
    strange = [*NAMES, *STRANGE]
    return dumped(mutated(PACK, chance, chance.randint(0, 3), strange)).encode("utf-8", "replace")


@examples(8)
@given(st.sampled_from(ON_A_CASE), CHANCE)
def test_commands_on_spoilt_cases(tmp_path: Path, ends_well: Run, line: str, chance: random.Random) -> None:
    (tmp_path / "case.yaml").write_bytes(case_bytes(chance))
    (tmp_path / "other.yaml").write_bytes(chance.choice(CASES))
    ends_well(line.split(), "\n".join(chance.choices(TYPED, k=12)))


@examples(8)
@given(st.sampled_from(ON_A_PACK), CHANCE)
def test_commands_on_spoilt_packs(tmp_path: Path, ends_well: Run, line: str, chance: random.Random) -> None:
    pack = tmp_path / "pack"
    pack.mkdir(exist_ok=True)
    (pack / "pack.yaml").write_text(HEAD.format(name="tiny", below=""))
    (pack / "words.yaml").write_bytes(pack_bytes(chance))
    (tmp_path / "good.yaml").write_text('{"case": "a", "date": "2026-11-16"}')
    ends_well(line.split())


WORDS = st.sampled_from(
    [*KEYS, "ocs_check", "ev_seat_out", "pass", *(o.decode("utf-8", "replace") for o in ODD)]
)
OPTIONS = [
    "--did",
    "--result",
    "--reading",
    "--code",
    "--event",
    "--part",
    "--side",
    "--system",
    "--waive",
    "--why",
    "--by",
    "--at",
    "--note",
]


@examples(6)
@given(st.lists(st.tuples(st.sampled_from(OPTIONS), WORDS | st.text(max_size=12)), min_size=1, max_size=5))
def test_any_words_given_to_record(tmp_path: Path, ends_well: Run, given: list[tuple[str, str]]) -> None:
    (tmp_path / "case.yaml").write_bytes(CASES[0])
    words = [w for option, value in given for w in (option, value.encode("utf-8", "replace").decode())]
    ends_well(["record", "case.yaml", *words], "")
