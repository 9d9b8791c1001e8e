"""Any bytes in the place of a file we read: an answer or messages, soon, and never a fault of ours."""

from __future__ import annotations

import hashlib
import random
from contextlib import suppress
from pathlib import Path

import pytest
from fuzzed import examples
from hostile import CASES, PACK_FILES, spoilt
from hypothesis import given
from hypothesis import strategies as st
from knockon.engine.diagnostics.message import InputError, Messages
from knockon.engine.load import cache
from knockon.engine.load.append import append_entry
from knockon.engine.load.pack import load_program
from knockon.engine.load.tree import parse_tree
from knockon.engine.model.program import Program
from knockon.engine.review.cases import body_of_cases, case_of, read_item
from knockon.engine.review.results import ResultsFile
from test_fuzz_load import CASES as VALUES
from test_fuzz_load import NAMES, PACK, dumped, mutated, read_case, soon
from written_pack import HEAD, load, rule

CHANCE, TIMES = st.integers(0, 2**32).map(random.Random), st.integers(1, 8)


@examples(40)
@given(st.sampled_from(CASES), CHANCE, TIMES)
def test_spoilt_cases(
    tmp_path: Path, program: Program, data: bytes, chance: random.Random, times: int
) -> None:
    read_case(tmp_path / "case.yaml", program, spoilt(data, chance, times))


@examples(40)
@given(st.sampled_from(PACK_FILES), CHANCE, TIMES)
def test_spoilt_pack_files(tmp_path: Path, data: bytes, chance: random.Random, times: int) -> None:
    (tmp_path / "pack.yaml").write_text(HEAD.format(name="tiny", below=""))
    (tmp_path / "words.yaml").write_bytes(spoilt(data, chance, times))
    soon(lambda: load_program([tmp_path]))
    (tmp_path / "pack.yaml").write_bytes(spoilt(HEAD.format(name="tiny", below="").encode(), chance, times))
    soon(lambda: load_program([tmp_path]))


@examples(40)
@given(CHANCE, TIMES)
def test_spoilt_whole_packs(tmp_path: Path, chance: random.Random, times: int) -> None:
    (tmp_path / "pack.yaml").write_text(HEAD.format(name="tiny", below=""))
    text = dumped(mutated(PACK, chance, times, [*NAMES, "\x1b[1m", 10**15, -1, "\u202e"]))
    (tmp_path / "words.yaml").write_bytes(spoilt(text.encode("utf-8", "replace"), chance, times // 3))
    soon(lambda: load_program([tmp_path]))


@examples(40)
@given(CHANCE, TIMES)
def test_spoilt_bodies_of_cases(tmp_path: Path, program: Program, chance: random.Random, times: int) -> None:
    lines = b"\n".join(dumped(chance.choice(VALUES)).encode() for _ in range(3))
    body = tmp_path / "cases.jsonl"
    body.write_bytes(spoilt(lines, chance, times))
    with suppress(InputError):  # a body that became blank is refused
        for item in body_of_cases(body):
            soon(lambda item=item: case_of(read_item(item), program))


@examples(60)
@given(st.sampled_from(CASES), CHANCE, st.integers(0, 4))
def test_an_entry_is_appended_whole_or_not_at_all(data: bytes, chance: random.Random, times: int) -> None:
    text = spoilt(data, chance, times).decode("utf-8", "replace")
    note = chance.choice(
        ["x", "a: b", "\n- x", "\x07", "# y", "é\u2028", "'\"", "[", "*a", "! b", "-", "\ud800"]
    )
    entry = {"at": "2026-03-18T12:00", "event": "ev_seat_out", "note": note}
    try:
        new = append_entry(text, "case.yaml", entry)
    except InputError:
        return
    before, after = (parse_tree(t.removeprefix("\ufeff"), "a", Messages()) for t in (text, new))
    assert before is not None
    assert after is not None
    assert after.value == {**before.value, "log": [*(before.value.get("log") or []), entry]}


@examples(60)
@given(CHANCE, TIMES)
def test_spoilt_results_are_never_taken_for_a_run(tmp_path: Path, chance: random.Random, times: int) -> None:
    path = tmp_path / "r.jsonl"
    good = b"".join(b'{"number":%d,"at":"c:%d","state":"ok","run":"r1"}\n' % (n, n + 1) for n in range(4))
    path.write_bytes(spoilt(good, chance, times))
    before = path.read_bytes()
    try:
        with ResultsFile(path, "r1", resume=True) as results:
            kept = path.read_bytes()
            assert before.startswith(kept)
            assert results.done == kept.count(b"\n")
    except InputError:
        assert path.read_bytes() == before


@examples(40)
@given(CHANCE, TIMES, st.booleans())
def test_a_spoilt_cache_is_ignored(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, chance: random.Random, times: int, signed: bool
) -> None:
    """`signed`: somebody also wrote the right checksum; still nothing but our own types may come out."""
    monkeypatch.setenv("KNOCKON_CACHE", str(tmp_path))
    file = tmp_path / "key.json"
    if not (tmp_path / "sound").exists():
        cache.keep("key", load(tmp_path, rule()))
        file.rename(tmp_path / "sound")
    head, _, body = (tmp_path / "sound").read_bytes().partition(b"\n")
    whole, body = body, spoilt(body, chance, times)
    if signed:
        head = f"key {hashlib.sha256(body).hexdigest()}".encode()
    file.write_bytes(head + b"\n" + body)
    found = cache.kept("key")
    assert found is None or isinstance(found, Program)
    assert signed or found is None or body == whole
