"""Guarantee 5 of the design: same case, same packs, same bytes, whatever the hash seed."""

from __future__ import annotations

import pytest
from command import TOP, installed

CASE = "examples/with-maker-and-shop/case.yaml"
PACKS = [w for p in ("orsava-2023", "lindenhof") for w in ("--pack", f"examples/packs/{p}")]
SEEDS = ("0", "4711")


@pytest.mark.parametrize(
    "arguments",
    [
        ("plan", CASE, *PACKS, "--possible", "--considered"),
        ("plan", CASE, *PACKS, "--format", "json"),
        ("why", CASE, "ocs_check", *PACKS, "--depth", "tree"),
    ],
    ids=["text", "json", "why"],
)
def test_the_hash_seed_changes_no_byte(arguments: tuple[str, ...]) -> None:
    runs = {installed(*arguments, PYTHONHASHSEED=seed) for seed in SEEDS}
    assert len(runs) == 1
    assert runs.pop().err == ""


def test_messages_do_not_depend_on_the_hash_seed() -> None:
    folder = TOP / "tests" / "golden" / "bad"
    for name in ("problems-at-every-stage", "order-in-a-ring"):
        arguments = ("plan", "../good_case.yaml", "--pack", "pack")
        runs = {installed(*arguments, cwd=folder / name, PYTHONHASHSEED=seed).err for seed in SEEDS}
        assert len(runs) == 1


def test_a_program_read_anew_gives_the_same_bytes_as_one_kept() -> None:
    arguments = ("plan", "examples/parked-tap/case.yaml", "--format", "json")
    assert installed(*arguments, KNOCKON_CACHE="off") == installed(*arguments)
