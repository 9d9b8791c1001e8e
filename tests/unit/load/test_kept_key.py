"""A kept program is used only while every file of its packs is what it was: a stale one would miss checks in silence."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from knockon.engine.load.cache import RULES, key_of

NAMES = sorted(p.name for p in (RULES / "base").glob("*.yaml"))


@pytest.fixture
def pack(tmp_path: Path) -> Path:
    """A copy of the base pack."""
    return Path(shutil.copytree(RULES / "base", tmp_path / "base"))


def test_a_change_of_any_file_is_another_key(pack: Path) -> None:
    before = key_of([pack])
    assert len(NAMES) > 20
    for name in NAMES:
        text = (pack / name).read_text("utf-8")
        (pack / name).write_text(text + "# changed\n", "utf-8")
        assert key_of([pack]) != before, name
        (pack / name).write_text(text, "utf-8")
    assert key_of([pack]) == before


def test_files_that_come_go_or_take_each_others_names_are_another_key(pack: Path) -> None:
    keys = [key_of([pack])]
    (pack / "deeper").mkdir()
    for name in ("new.yaml", "deeper/new.yaml", "new.yml", ".hidden.yaml"):
        (pack / name).write_text("rules: []\n", "utf-8")
        keys.append(key_of([pack]))
    one, other = pack / NAMES[0], pack / NAMES[1]
    held = one.read_bytes()
    one.write_bytes(other.read_bytes())
    other.write_bytes(held)
    keys.append(key_of([pack]))
    one.rename(one.with_suffix(".yml"))  # it stays where it was in the order, with the same content
    keys.append(key_of([pack]))
    one.with_suffix(".yml").unlink()
    keys.append(key_of([pack]))
    assert len(set(keys)) == len(keys)


def test_the_order_of_packs_counts_and_a_file_of_another_kind_does_not(pack: Path) -> None:
    market = RULES / "us_federal"
    assert key_of([pack, market]) != key_of([market, pack])
    before = key_of([pack])
    (pack / "notes.txt").write_text("for us\n", "utf-8")
    assert key_of([pack]) == before
