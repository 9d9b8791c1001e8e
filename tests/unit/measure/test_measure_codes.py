"""Trouble codes as people type them, and status bytes in a sentence."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from knockon.engine.measure.code_status import Memory, Ran, Scan, Status, scan
from knockon.engine.measure.codes import Code, decode, decode3, encode, encode3, parse
from knockon.engine.measure.figures import ReadingError


@pytest.mark.parametrize("typed", ["b16a1-23", "B16A1 23", " B16A1:23 ", "B16A123"])
def test_codes_as_typed(typed: str) -> None:
    assert parse(typed) == Code("B16A1", 0x23)
    assert str(parse(typed)) == "B16A1-23"


@given(st.integers(0, 0xFFFFFF))
def test_three_bytes_there_and_back(raw: int) -> None:
    assert encode3(parse(str(decode3(raw)))) == raw


@pytest.mark.parametrize(
    ("typed", "hint"),
    [("PO135", "did you mean P0135?"), ("X0135", "write a letter"), ("P4135", "write a letter")],
)
def test_codes_mistyped(typed: str, hint: str) -> None:
    with pytest.raises(ReadingError) as caught:
        parse(typed)
    assert caught.value.next_step.startswith(hint)


def test_codes_that_do_not_fit() -> None:
    for bad in (lambda: decode(0x10000), lambda: decode(-1), lambda: encode("B16A1-23")):
        with pytest.raises(ReadingError):
            bad()
    with pytest.raises(ReadingError, match="no failure type"):
        encode3(Code("B16A1"))
    with pytest.raises(ReadingError, match="not a trouble code"):
        Code("nonsense")
    assert decode(0) == "P0000"  # by convention an empty place in a list of codes


@pytest.mark.parametrize(
    ("text", "who"), [("P1000", "maker"), ("B2000", "maker"), ("U3000", "not known"), ("P3FFF", "standard")]
)
def test_who_defines_a_code(text: str, who: str) -> None:
    assert Code(text).defined_by == who


@pytest.mark.parametrize(
    ("byte", "state"),
    [
        (0x00, "passed this cycle"),
        (0x08, "confirmed, passed this cycle"),
        (0x09, "confirmed, failed"),
        (0x2F, "confirmed, failed"),
        (0xAF, "confirmed, failed, warning lamp requested"),
        (0x24, "pending, passed this cycle"),
        (0x23, "failed since clear, not kept, failed"),
        (0x49, "confirmed, not tested this cycle, failed when last tested"),
        (0x50, "not tested since the codes were cleared"),
    ],
)
def test_states_in_words(byte: int, state: str) -> None:
    assert Status(byte).state == state


def test_bits_a_unit_does_not_support_prove_nothing() -> None:
    for mask in (0x09, 0x40, 0x02):
        assert Status(0x00, mask).ran is Ran.NOT_REPORTED
    assert Status(0x50, mask=0x09).bits == ()
    assert scan([Status(0x00, mask=0x09)]) is Scan.NOT_CONCLUSIVE


def test_contradictory_bits_are_named_and_failure_wins() -> None:
    status = Status(0x42)
    assert status.ran is Ran.FAILED
    assert status.contradictions == ("test failed this cycle and test not completed this cycle",)
    assert Status(0x30).contradictions
    assert Status(0x2F).contradictions == ()


@pytest.mark.parametrize(
    ("bytes_", "result"),
    [
        ([], Scan.NOT_CONCLUSIVE),
        ([0x00, 0x00], Scan.CLEAR),
        ([0x00, 0x50], Scan.NOT_CONCLUSIVE),
        ([0x50, 0x08], Scan.CODES),
        ([0x00, 0x04], Scan.CODES),
        ([0x41], Scan.CODES),
    ],
)
def test_scans(bytes_: list[int], result: Scan) -> None:
    assert scan(Status(byte) for byte in bytes_) is result


def test_memory_keeps_the_strongest() -> None:
    assert Status(0x2C).memory is Memory.CONFIRMED
    assert Status(0x20).memory is Memory.HISTORY


@pytest.mark.parametrize("byte", [-1, 256, True])
def test_a_status_is_one_byte(byte: int) -> None:
    with pytest.raises(ReadingError, match="status byte"):
        Status(byte)
