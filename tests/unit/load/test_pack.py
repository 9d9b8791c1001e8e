"""Pack folders: whole or not at all, nothing ignored, nothing outside, and a digest of every byte."""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path

import pytest
from knockon.engine.diagnostics.message import InputError, Message, Messages
from knockon.engine.load import cache
from knockon.engine.load.cache import MOST_KEPT, built_in_folders, program_of
from knockon.engine.load.pack import load_program, read_pack
from knockon.engine.model.program import Program
from written_pack import HEAD, WORDS, codes, rule, write


def refused(*folders: Path) -> list[Message]:
    with pytest.raises(InputError) as error:
        load_program(folders)
    return error.value.messages.items


def with_contents(folder: Path, contents: str) -> Path:
    write(folder)
    head = HEAD.format(name="tiny", below="").replace("[words.yaml]", contents)
    (folder / "pack.yaml").write_text(head)
    return folder


def test_the_built_in_packs_load_and_are_named_with_version_and_digest(program: Program) -> None:
    assert [p.name for p in program.packs] == ["base", "us-federal", "un-regulations"]
    assert all(len(p.sha256) == 64 and p.version for p in program.packs)
    assert [str(f.name) for f in built_in_folders()] == ["base", "us_federal", "un_regulations"]
    assert program.packs[0].folder == "rules/base"


def test_the_digest_covers_names_and_bytes_of_every_file(tmp_path: Path) -> None:
    def digest(folder: Path) -> str:
        found = read_pack(folder, Messages())
        assert found is not None
        return found.id.sha256

    one, same = write(tmp_path / "a" / "tiny"), write(tmp_path / "b" / "tiny")
    assert digest(one) == digest(same)
    (same / "words.yaml").write_text(WORDS + "# a comment\n")
    assert digest(one) != digest(same)
    write(same)
    (same / "more.scenarios.yaml").write_text("scenarios: []\n")
    assert digest(one) != digest(same)


@pytest.mark.parametrize(
    ("contents", "code", "said"),
    [
        ("[words.yaml, gone.yaml]", "KN222", "`gone.yaml` is listed but missing"),
        ("[words.yaml, ../out.yaml]", "KN223", "`../out.yaml` lies outside the pack"),
        ("[words.yaml, sub/../words.yaml]", "KN223", "lies outside the pack"),
        ("[words.yaml, /tmp/out.yaml]", "KN223", "lies outside the pack"),
        ("[words.yaml, words.yaml]", "KN202", "`words.yaml` is listed twice"),
        ("[words.yaml, notes.txt]", "KN114", "is not a file name ending in .yaml"),
        ('[words.yaml, "a\\0b.yaml"]', "KN114", "is not a file name ending in .yaml"),
        ("[]", "KN114", "has too few entries"),
    ],
)
def test_what_a_pack_lists_is_in_its_folder_once(tmp_path: Path, contents: str, code: str, said: str) -> None:
    messages = refused(with_contents(tmp_path / "tiny", contents))
    assert code in codes(messages)
    assert said in messages[0].text
    assert messages[0].culprits[0].span.file.endswith("pack.yaml")


def test_a_link_out_of_the_folder_is_refused(tmp_path: Path) -> None:
    folder = with_contents(tmp_path / "tiny", "[words.yaml, linked.yaml]")
    (tmp_path / "out.yaml").write_text("rules: []\n")
    (folder / "linked.yaml").symlink_to(tmp_path / "out.yaml")
    assert codes(refused(folder)) == ["KN223"]


@pytest.mark.parametrize("stray", ["notes.yaml", "notes.yml", "sub/notes.yaml"])
def test_a_stray_file_is_told(tmp_path: Path, stray: str) -> None:
    folder = write(tmp_path / "tiny")
    (folder / "sub").mkdir()
    (folder / stray).write_text("rules: []\n")
    (message,) = refused(folder)
    assert message.code == "KN224"
    assert stray in message.text


def test_scenario_files_beside_the_rules_need_no_listing(tmp_path: Path) -> None:
    folder = write(tmp_path / "tiny")
    (folder / "more.scenarios.yaml").write_text("scenarios: [{name: One, given: {}}]\n")
    assert [s.name for s in load_program([folder]).scenarios] == ["One"]


def test_no_folder_and_no_head(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    assert codes(refused(tmp_path / "gone", tmp_path / "empty")) == ["KN101", "KN101"]


def test_a_stack_has_each_pack_once_and_above_what_it_stands_on(tmp_path: Path) -> None:
    tiny, top = write(tmp_path / "tiny", rule()), write(tmp_path / "top", rule("M001"), "", "top", "tiny")
    assert codes(refused(tiny, tiny)) == ["KN225"]
    assert codes(refused(top, tiny)) == ["KN226"]
    assert len(load_program([tiny, top]).rules) == 2


def test_problems_of_every_file_and_every_stage_come_in_one_run(tmp_path: Path) -> None:
    rules = (
        rule("T001", "when: [{fitted: eey}]")
        + rule("T002").replace("why: it moves, ", "")
        + rule("T003", "when: [], unless: [{derived: d_jolt}]", "{conclude: d_jolt}")
        + rule("T003")
    )
    tiny = write(tmp_path / "tiny", rules)
    top = write(tmp_path / "top", rule("M001", then="{plan: lok}"), "", "top", "tiny")
    (top / "pack.yaml").write_text(HEAD.format(name="top", below="tiny").replace("1.0.0", "first"))
    assert sorted(codes(refused(tiny, top))) == ["KN111", "KN114", "KN201", "KN201", "KN227", "KN231"]


def test_a_name_whose_own_entry_is_broken_is_not_called_unknown(tmp_path: Path) -> None:
    words = WORDS.replace("ear: {title: ear, does: listens, area: body}", "ear: {title: ear}")
    messages = refused(write(tmp_path / "tiny", rule(body="when: [{fitted: ear}]"), words))
    assert codes(messages) == ["KN111", "KN111"]


def test_what_may_stand_in_an_unreadable_file_is_not_called_unknown_but_counted(tmp_path: Path) -> None:
    folder = with_contents(tmp_path / "tiny", "[words.yaml, rules.yaml]")
    (folder / "words.yaml").write_text("facts: [\n")
    (folder / "rules.yaml").write_text(f"rules:\n{rule()}{rule()}")
    messages = refused(folder)
    assert sorted(codes(messages)) == ["KN104", "KN108", "KN227"]
    assert [m.text[:2] for m in messages if m.code == "KN108"] == ["6 "]


def test_a_program_kept_from_the_last_run_is_the_same_but_for_what_only_the_bench_needs(
    tmp_path: Path,
) -> None:
    folder = write(tmp_path / "tiny", rule())
    first, kept, read = program_of([folder]), program_of([folder]), load_program([folder])
    for name in ("packs", "facts", "systems", "parts", "operations", "rules", "alternatives", "strata"):
        assert getattr(first, name) == getattr(kept, name) == getattr(read, name)
    (folder / "words.yaml").write_text(WORDS + f"rules:\n{rule('T009')}")
    assert set(program_of([folder]).rules) == {"T009"}


def test_the_built_in_stack_is_kept_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Field by field and pattern by pattern, with the places in the files, and rules shared as they were."""
    monkeypatch.setenv("KNOCKON_CACHE", str(tmp_path))
    read, kept = program_of(built_in_folders()), cache.kept(cache.key_of(built_in_folders()))
    assert kept is not None
    assert kept is not read
    for field in fields(read):
        if field.name not in ("scenarios", "promises"):
            assert getattr(kept, field.name) == getattr(read, field.name), field.name
    for a, b in zip(kept.alternatives, read.alternatives, strict=True):
        assert a.rule is kept.rules[a.rule.id]
        assert [p.span for p in (*a.ground, *a.records)] == [p.span for p in (*b.ground, *b.records)]


def test_only_the_last_stacks_are_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("KNOCKON_CACHE", str(tmp_path / "kept"))
    for n in range(MOST_KEPT + 3):
        program_of([write(tmp_path / f"tiny{n}", rule())])
    assert len(list((tmp_path / "kept").iterdir())) == MOST_KEPT
