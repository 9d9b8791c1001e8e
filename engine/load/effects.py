"""From one entry of `then` to the effects it writes: names looked up, places said where they are kept."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

from ..model.places import PLACES
from ..model.rule import Effect
from ..model.span import Span
from .names import known
from .patterns import PatternReader

VERBS = ("plan", "conclude", "severity", "hold", "drop", "void", "fits")


def read_effect(raw: Mapping[str, Any], path: tuple[str | int, ...], reader: PatternReader) -> list[Effect]:
    """The effects one `then` entry writes; [] with messages when something is wrong."""
    verbs = [v for v in VERBS if v in raw]
    span = reader.tree.at(*path)
    if len(verbs) != 1:
        reader.messages.add(
            "KN215", "an effect does exactly one thing", span, next_step=f"one of: {', '.join(VERBS)}"
        )
        return []
    verb, place = verbs[0], str(raw.get("side", ""))
    if place not in ("all", "") and not place.startswith("$"):
        known(place, PLACES, "place", reader.tree.at(*path, "side"), reader.messages)
    if place and verb in ("severity", "fits"):
        text, at = f"`side` does not go with `{verb}`", reader.tree.key(*path, "side")
        reader.messages.add("KN211", text, at, next_step="remove it; it concerns the whole vehicle")
    if verb == "severity":
        return [Effect("severity", (str(raw[verb]),), "", span)]
    kinds: dict[str, tuple[Collection[str], str]] = {
        "conclude": (reader.names.derived, "derived fact"),
        "fits": (reader.names.systems, "system"),
    }
    names, what = kinds.get(verb, (reader.names.operations, "operation"))
    found = reader.subjects(verb, raw, path, names, what)
    if found is None:
        return []
    subjects = (found[1],) if found[1] else found[0]
    _need_place(reader, verb, subjects, place, span)
    return [Effect(verb, subjects, place, span)]


def _need_place(reader: PatternReader, verb: str, subjects: tuple[str, ...], place: str, span: Span) -> None:
    """A planned or concluded thing that is kept by side must say which side."""
    kept = reader.names.derived if verb == "conclude" else reader.names.operations
    if place or verb not in ("conclude", "plan"):
        return
    for subject in subjects:
        item = kept.get(subject)
        if item is not None and getattr(item, "per", "vehicle") != "vehicle":
            text = f"`{subject}` is kept per {getattr(item, 'per', '')}; say where"
            reader.messages.add("KN216", text, span, next_step="add `side: $s`, a place, or `side: all`")
