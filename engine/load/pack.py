"""From pack folders to one linked program: everything is read and checked, all messages at once."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from pathlib import Path

from ..diagnostics.message import InputError, Message, Messages
from ..diagnostics.nearest import nearest
from ..model.program import Acceptance, PackId, Program
from ..model.record import dataclass, field, replace
from ..model.rule import Pattern
from ..model.span import NOWHERE, Span
from .cache import BUILT_IN, RULES
from .catalogues import read_catalogues
from .link import link
from .patterns import PatternReader
from .promises import read_promises, refuse_twins
from .rules import read_rules, read_scenarios
from .tree import Tree, lies_in, read_tree
from .validate import sound_part
from .vocabulary import check_names, read_implied, read_impossible

BELOW = "KN226"
NAMING = ("KN201", "KN214", BELOW)  # what such a message misses may stand where reading failed
ANYTHING = "*"


@dataclass(slots=True)
class PackFiles:
    """The trees of one pack folder, as far as they keep to their schemas; the ids of what was left out."""

    id: PackId
    head: Tree
    trees: list[Tree]
    left_out: set[str] = field(default_factory=set)


def load_program(folders: Sequence[Path], messages: Messages | None = None) -> Program:
    """Read and link a stack of packs, lowest first. InputError carries every message of every file."""
    messages = messages if messages is not None else Messages()
    read = [read_pack(folder, messages) for folder in folders]
    packs = [p for p in read if p]
    left_out = {id_ for p in packs for id_ in p.left_out} | ({ANYTHING} if None in read else set())
    found = Messages(lines=messages.lines)
    stack = _stack(packs, found)
    if ANYTHING not in left_out and found.errors:
        messages.extend(found)
        left_out.add(ANYTHING)
    program = _link(stack, found)
    doubtful = [
        m
        for m in found
        if m.code in NAMING and m not in messages.items and left_out & {ANYTHING, _named(m, found)}
    ]
    messages.extend(m for m in found if m not in doubtful)
    if doubtful and ANYTHING in left_out:
        one = len(doubtful) == 1
        names = "1 unknown name is" if one else f"{len(doubtful)} unknown names are"
        text = f"{names} not listed: what could not be read may define {'it' if one else 'them'}"
        messages.add("KN108", text, next_step="correct the rest and run again", level="note")
    if messages.errors or program is None:
        raise InputError(messages)
    return program


def _named(message: Message, messages: Messages) -> str:
    """The name a message points at, as it is written; of a figure the source."""
    span = message.culprits[0].span
    line = "".join(messages.lines.get(span.file, [])[span.line - 1 : span.line])
    return line[span.column - 1 :][: span.length].strip("\"'").split(".")[0]


def _link(packs: Sequence[PackFiles], messages: Messages) -> Program | None:
    trees = [tree for pack in packs for tree in pack.trees]
    names = read_catalogues(trees, messages)
    check_names(names, trees, messages)
    rules, scenarios, promises = [], [], []
    names.impossible = tuple(
        i for pack in packs for tree in pack.trees for i in read_impossible(tree, names, messages)
    )
    names.implied = tuple(
        i for pack in packs for tree in pack.trees for i in read_implied(tree, names, messages)
    )
    applies: dict[str, tuple[Pattern, ...]] = {}
    for pack in packs:
        reader = PatternReader(pack.head, names, messages)
        heads = [reader.pattern(p, ("applies", i)) for i, p in enumerate(pack.head.value.get("applies", []))]
        applies[pack.id.name] = tuple(p for p in heads if p)
        for tree in pack.trees:
            rules += read_rules(tree, pack.id.name, names, messages)
            scenarios += read_scenarios(tree, messages)
            promises += read_promises(tree, pack.id.name, applies[pack.id.name], names, messages)
    refuse_twins(promises, messages)
    program = link(tuple(p.id for p in packs), names, rules, scenarios, applies, messages)
    if program is None:
        return None
    return replace(
        program, promises=tuple(promises), accepted=tuple(a for pack in packs for a in _accepted(pack))
    )


def _accepted(pack: PackFiles) -> Iterator[Acceptance]:
    """What the author keeps on purpose: in the pack's head for any id, on a rule for that rule."""
    for i, raw in enumerate(pack.head.value.get("accepted", [])):
        yield Acceptance(raw["code"], raw["at"], raw["reason"], pack.head.at("accepted", i))
    for tree in pack.trees:
        for i, rule in enumerate(tree.value.get("rules") or []):
            for j, raw in enumerate(rule.get("accept", [])):
                yield Acceptance(raw["code"], rule["id"], raw["reason"], tree.at("rules", i, "accept", j))


def _like(folder: Path) -> str:
    """A pack beside the missing one, or a built-in one, that is called nearly so."""
    beside = [p.parent for p in folder.parent.glob("*/pack.yaml")] if folder.parent.is_dir() else []
    close = nearest(folder.name, [*(p.name for p in beside), *BUILT_IN])
    return close and (close if close in BUILT_IN else str(folder.parent / close))


def read_pack(folder: Path, messages: Messages) -> PackFiles | None:
    """Read one folder; what cannot be read, or breaks its schema, is left out and has its message."""
    shown = _shown(folder)
    if not folder.is_dir():
        text = f"there is no pack folder `{shown}`"
        step = f"name a folder that has a pack.yaml, or a built-in pack: {', '.join(BUILT_IN)}"
        messages.add("KN101", text, Span(str(shown), 1, 1), nearest=_like(folder), next_step=step)
        return None
    if not lies_in(folder / "pack.yaml", folder):
        text = f"`{shown}/pack.yaml` lies outside the pack"
        messages.add(
            "KN223", text, Span(f"{shown}/pack.yaml", 1, 1), next_step="put the file itself there, not a link"
        )
        return None
    head, left_out = _sound(folder, shown, "pack.yaml", "pack", messages)
    if head is None:
        return None
    digest = hashlib.sha256((folder / "pack.yaml").read_bytes())
    trees = []
    for name, span in _contents(folder, shown, head, messages):
        if not (folder / name).exists():
            messages.add(
                "KN222", f"`{name}` is listed but missing", span, next_step="add it or take it off the list"
            )
            left_out.add(ANYTHING)
            continue
        tree, ids = _sound(folder, shown, name, "content", messages)
        left_out |= ids
        if tree is not None:
            digest.update(name.encode() + b"\0" + (folder / name).read_bytes())
            trees.append(tree)
    value = head.value
    id_ = PackId(
        name=value.get("pack", ""),
        version=value.get("version", ""),
        sha256=digest.hexdigest(),
        title=value.get("title", ""),
        date=value.get("date", ""),
        folder=str(shown),
        review_days=value.get("review_days", 0),
        changes=tuple(value.get("changes", {}).items()),
        changes_span=head.key("changes") if "changes" in value else NOWHERE,
    )
    return PackFiles(id_, head, trees, left_out)


def _sound(
    folder: Path, shown: Path, name: str, kind: str, messages: Messages
) -> tuple[Tree | None, set[str]]:
    """What of a file keeps to its schema, and the ids of the rest; any id where the whole file is lost."""
    tree = read_tree(folder / name, messages, f"{shown}/{name}")
    sound, ids = sound_part(tree, kind, messages) if tree else (None, set[str]())
    return sound, ids if sound else {ANYTHING}


def _shown(folder: Path) -> Path:
    """How messages name a folder: built-in packs by `rules/name`, others as the user wrote them."""
    return Path("rules") / folder.name if folder.parent == RULES else folder


def _contents(folder: Path, shown: Path, head: Tree, messages: Messages) -> list[tuple[str, Span]]:
    """The files of a pack, in order: those listed, then scenario files beside them. A stray is an error."""
    listed: list[tuple[str, Span]] = []
    for i, name in enumerate(head.value.get("contents", [])):
        span = head.at("contents", i)
        if not lies_in(folder / name, folder) or Path(name).is_absolute() or ".." in Path(name).parts:
            messages.add(
                "KN223", f"`{name}` lies outside the pack", span, next_step="keep every file in the folder"
            )
            continue
        if name in dict(listed):
            messages.add(
                "KN202",
                f"`{name}` is listed twice",
                span,
                dict(listed)[name],
                next_step="keep one of the two",
            )
            continue
        listed.append((name, span))
    names = set(head.value.get("contents", []))
    here = sorted(
        p.relative_to(folder).as_posix() for p in folder.rglob("*.y*ml") if p != folder / "pack.yaml"
    )
    scenarios = [n for n in here if n.endswith(".scenarios.yaml") and n not in names]
    for stray in [n for n in here if n not in names and n not in scenarios]:
        text = f"`{shown}/{stray}` is not listed in pack.yaml; nothing is ignored in silence"
        messages.add(
            "KN224", text, head.key("contents"), next_step="list it under `contents` or move it away"
        )
    for outside in [n for n in scenarios if not lies_in(folder / n, folder)]:
        text = f"`{shown}/{outside}` lies outside the pack"
        messages.add("KN223", text, head.key("contents"), next_step="put the file itself there, not a link")
    return listed + [(n, head.key("contents")) for n in scenarios if lies_in(folder / n, folder)]


def _stack(packs: Sequence[PackFiles], messages: Messages) -> list[PackFiles]:
    """The packs, each once and each above those it stacks on."""
    seen: dict[str, PackFiles] = {}
    for pack in packs:
        if pack.id.name in seen:
            text = f"pack `{pack.id.name}` is given twice"
            places = {p.head.at("pack"): None for p in (pack, seen[pack.id.name])}
            messages.add("KN225", text, *places, next_step="give it once")
            continue
        for i, below in enumerate(pack.head.value.get("stacks_on", [])):
            if below not in seen:
                text = f"pack `{pack.id.name}` stacks on `{below}`, which is not below it"
                step = f"give `{below}` before it; here: {', '.join(seen) or 'nothing'}"
                messages.add("KN226", text, pack.head.at("stacks_on", i), next_step=step)
        seen[pack.id.name] = pack
    return list(seen.values())
