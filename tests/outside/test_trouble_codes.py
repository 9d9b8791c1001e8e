"""Trouble codes and status bits against two general-purpose diagnostic libraries."""

from __future__ import annotations

import obd.codes
import obd.decoders
import pytest
import udsoncan
from knockon.engine.measure.code_status import BITS, Memory, Ran, Scan, Status, scan
from knockon.engine.measure.codes import Code, decode, decode3, encode, encode3


@pytest.mark.parametrize(
    ("raw", "text"),
    [
        # SAE J2012 / ISO 15031-6 layout; values as the general-purpose OBD library decodes them
        (0x0135, "P0135"), (0x0143, "P0143"), (0x4123, "C0123"), (0x8001, "B0001"),
        (0x96A1, "B16A1"), (0xC100, "U0100"), (0xD100, "U1100"), (0x0A0A, "P0A0A"),
        (0x0000, "P0000"),  # by convention "no code" (from memory)
    ],
)  # fmt: skip
def test_two_byte_codes(raw: int, text: str) -> None:
    assert decode(raw) == text
    assert encode(text) == raw


def test_all_65536_codes_agree_with_the_obd_library_and_come_back() -> None:
    seen = set()
    for raw in range(0x10000):
        text = decode(raw)
        seen.add(text)
        assert encode(text) == raw
        reference = obd.decoders.parse_dtc(raw.to_bytes(2, "big"))
        if reference is not None:  # the library takes two zero bytes for an empty place
            assert text == reference[0].upper()
    assert len(seen) == 0x10000


def test_three_byte_codes_agree_with_the_uds_library() -> None:
    """ISO 14229-1 service 0x19 (from memory): the low byte is the failure type."""
    assert decode3(0x96A123) == Code("B16A1", 0x23)
    for raw in range(0, 0x1000000, 997):
        assert str(decode3(raw)) == udsoncan.Dtc(raw).id_iso()
        assert encode3(decode3(raw)) == raw


@pytest.mark.parametrize(
    ("text", "who"),
    [
        ("P0135", "standard"),
        ("B16A1", "maker"),
        ("P2004", "standard"),
        ("P3000", "maker"),
        ("P3400", "standard"),
    ],
)
def test_who_defines_a_code(text: str, who: str) -> None:
    """SAE J2012 (partly from memory): second digit 0 standard, 1 maker; P2 and P34 upward standard."""
    assert Code(text).defined_by == who


def test_lost_communication_is_a_network_code() -> None:
    """U0100 in the OBD library's list: it speaks of the line, not of the sensor at its end."""
    assert "Lost Communication" in obd.codes.DTC["U0100"]
    assert Code("U0100").group == "network"


@pytest.mark.parametrize("text", ["B0001", "B0010", "B0020", "B0028"])
def test_standard_restraint_codes_are_body_codes_of_the_standard(text: str) -> None:
    """SAE J2012: frontal stage 1 of driver and passenger, left and right side deployment control."""
    assert (Code(text).group, Code(text).defined_by) == ("body", "standard")


@pytest.mark.parametrize(
    ("byte", "bits"),
    [
        (0x2F, (0, 1, 2, 3, 5)), (0x09, (0, 3)), (0x08, (3,)), (0x50, (4, 6)),
        (0xAF, (0, 1, 2, 3, 5, 7)), (0x23, (0, 1, 5)),
    ],
)  # fmt: skip
def test_status_bits(byte: int, bits: tuple[int, ...]) -> None:
    """ISO 14229-1 D.2, values as the general-purpose UDS library decodes them."""
    assert Status(byte).bits == bits
    assert Status(byte).names == tuple(BITS[bit] for bit in bits)


UDS_NAMES = (
    "test_failed", "test_failed_this_operation_cycle", "pending", "confirmed",
    "test_not_completed_since_last_clear", "test_failed_since_last_clear",
    "test_not_completed_this_operation_cycle", "warning_indicator_requested",
)  # fmt: skip


def test_every_status_byte_agrees_with_the_uds_library() -> None:
    for byte in range(256):
        reference = udsoncan.Dtc.Status.from_byte(byte)
        assert Status(byte).bits == tuple(i for i, name in enumerate(UDS_NAMES) if getattr(reference, name))


@pytest.mark.parametrize(
    ("byte", "ran"),
    [
        (0x00, Ran.PASSED), (0x40, Ran.NOT_TESTED), (0x02, Ran.FAILED),
        (0x50, Ran.NOT_TESTED_SINCE_CLEAR), (0x08, Ran.PASSED),
    ],
)  # fmt: skip
def test_passed_this_cycle_needs_the_test_to_have_run(byte: int, ran: Ran) -> None:
    """ISO 14229-1: passed means bit 6 clear and bit 1 clear; right after clearing nothing has passed."""
    assert Status(byte).ran is ran


def test_for_every_byte_passed_implies_the_published_condition() -> None:
    for byte in range(256):
        published = not byte & 0x40 and not byte & 0x02
        if Status(byte).ran is Ran.PASSED:
            assert published
        elif published:
            assert byte & 0x01, "the only other reason not to call it passed is a test that stands failed"


def test_a_scan_right_after_clearing_proves_nothing() -> None:
    """ISO 14229-1 (from memory): cleared state is bits 4 and 6, 0x50."""
    cleared = 0x50
    assert scan([Status(cleared)] * 40) is Scan.NOT_CONCLUSIVE
    assert Status(cleared).memory is Memory.NOTHING
