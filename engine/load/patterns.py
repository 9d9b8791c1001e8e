"""From a checked mapping to a Pattern or an Effect: shape, names, values, variables."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

from ..diagnostics.message import Messages
from ..diagnostics.nearest import nearest
from ..model.answers import ACTIONS, DAMAGE, HARMED, METHODS, OUTCOMES, VERDICTS
from ..model.catalogue import Figure, Test, Value
from ..model.places import PLACES
from ..model.record import replace
from ..model.rule import Pattern
from ..model.span import Span
from .catalogues import Catalogues, plain_test
from .names import as_list, known
from .tree import Tree
from .values import number

SUBJECTS = (
    "fact",
    "fitted",
    "touched",
    "damaged",
    "derived",
    "severity",
    "result",
    "code",
    "method",
    "procedure",
    "planned",
)
_ALLOWED = {
    "fact": {"is", "in", "not_in", "any_of", "none_of", "some", "at_least", "below", "side"},
    "fitted": set(),
    "touched": {"actions", "carries", "covers", "near", "side"},
    "damaged": {"states", "carries", "covers", "near", "side"},
    "derived": {"side"},
    "severity": set(),
    "result": {"outcome", "kinds", "side"},
    "code": set(),
    "method": {"is", "in"},
    "procedure": {"verdict"},
    "planned": {"side"},
}


class PatternReader:
    """Reads the patterns of one tree against one vocabulary."""

    def __init__(self, tree: Tree, names: Catalogues, messages: Messages) -> None:
        self.tree, self.names, self.messages = tree, names, messages

    def pattern(self, raw: Mapping[str, Any], path: tuple[str | int, ...]) -> Pattern | None:
        """One pattern, or None with a message."""
        span = self.tree.at(*path)
        subjects = [key for key in SUBJECTS if key in raw]
        if len(subjects) != 1:
            text = "a pattern asks about exactly one thing" + (
                f", not {', '.join(subjects)}" if subjects else ""
            )
            self.messages.add("KN210", text, span, next_step=f"one of: {', '.join(SUBJECTS)}, any")
            return None
        kind = subjects[0]
        wrong = sorted(set(raw) - {kind} - _ALLOWED[kind])
        if wrong:
            allowed = ", ".join(sorted(_ALLOWED[kind]))
            step = (
                f"with it goes: {allowed}" if allowed else "nothing goes with it; write a pattern of its own"
            )
            text = f"`{wrong[0]}` does not go with `{kind}`"
            self.messages.add("KN211", text, self.tree.key(*path, wrong[0]), next_step=step)
            return None
        found: Pattern | None = getattr(self, f"_{kind}")(kind, raw, path)
        return found

    def subjects(
        self,
        kind: str,
        raw: Mapping[str, Any],
        path: tuple[str | int, ...],
        names: Collection[str],
        what: str,
    ) -> tuple[tuple[str, ...], str] | None:
        """Ids and variable of a subject; None, with a message, when a name is wrong."""
        given = [str(v) for v in as_list(raw[kind])]
        if given == ["any"]:
            return (), ""
        if len(given) == 1 and given[0].startswith("$"):
            return (), given[0]
        spans = [self.tree.at(*path, kind, i) for i in range(len(given))]
        good = [
            known(name, names, what, span, self.messages) for name, span in zip(given, spans, strict=True)
        ]
        return (tuple(dict.fromkeys(given)), "") if all(good) else None

    def _place(self, raw: Mapping[str, Any], path: tuple[str | int, ...]) -> str | None:
        place = str(raw.get("side", ""))
        if place.startswith("$") or known(place, PLACES, "place", self.tree.at(*path, "side"), self.messages):
            return place
        return None

    def _words(
        self,
        raw: Mapping[str, Any],
        path: tuple[str | int, ...],
        key: str,
        default: tuple[str, ...],
        names: Collection[str],
    ) -> tuple[str, ...] | None:
        given = tuple(str(v) for v in as_list(raw.get(key))) or default
        good = [known(v, names, key, self.tree.at(*path, key, i), self.messages) for i, v in enumerate(given)]
        return tuple(dict.fromkeys(given)) if all(good) else None

    def _fact(self, kind: str, raw: Mapping[str, Any], path: tuple[str | int, ...]) -> Pattern | None:
        span = self.tree.at(*path, "fact")
        if not known(raw["fact"], self.names.facts, "fact", span, self.messages):
            return None
        test, place = self._test(str(raw["fact"]), raw, path), self._place(raw, path)
        if test is None or place is None:
            return None
        if place and not any(self.names.facts[raw["fact"]].places.values()):
            text = f"the values of `{raw['fact']}` have no place to bind"
            self.messages.add("KN212", text, self.tree.at(*path, "side"), next_step="remove `side`")
            return None
        return Pattern("fact", (str(raw["fact"]),), test=test, place=place, span=self.tree.at(*path))

    def _test(self, fact: str, raw: Mapping[str, Any], path: tuple[str | int, ...]) -> Test | None:
        spec, test, span = self.names.facts[fact], plain_test(raw), self.tree.at(*path)
        if test.op == "none" or len(set(raw) - {"fact", "side"}) != 1:
            step = "is, in, not_in, any_of, none_of, some, at_least or below"
            self.messages.add("KN213", f"`{fact}` needs exactly one test", span, next_step=step)
            return None
        numeric = spec.type in ("number", "date")
        if numeric != (test.op in ("at_least", "below")) and test.op not in ("not_known", "some"):
            step = "at_least or below" if numeric else "is, in, not_in, any_of, none_of or some"
            self.messages.add("KN213", f"`{fact}` is a {spec.type}", span, next_step=f"test it with {step}")
            return None
        if test.op in ("not_known", "some"):
            return test
        if numeric:
            return self._figure(test, self.tree.at(*path, test.op))
        key = next(k for k in raw if k not in ("fact", "side"))
        allowed = self.names.systems if "*" in spec.values else spec.values
        spans = [self.tree.at(*path, key, i) for i in range(len(test.values))]
        good = [
            known(v, allowed, f"value of `{fact}`", s, self.messages)
            for v, s in zip(test.values, spans, strict=True)
        ]
        return test if all(good) else None

    def _figure(self, test: Test, span: Span) -> Test | None:
        value: Value = test.values[0]
        figure: Figure | None = self.names.figure(value) if isinstance(value, str) else None
        if isinstance(value, str) and "." in value and figure is None:
            text, step = f"no source has the figure `{value}`", "write it as source_id.figure_name"
            figures = [f"{s.id}.{f}" for s in self.names.sources.values() for f in s.figures]
            self.messages.add("KN214", text, span, nearest=nearest(value, figures), next_step=step)
            return None
        try:
            return Test(test.op, (number(figure.value if figure else value),), str(value) if figure else "")
        except ValueError:
            self.messages.add(
                "KN213", f"`{value}` is not a number or a date", span, next_step="write 8 or 2026-11-16"
            )
            return None

    def _fitted(self, kind: str, raw: Mapping[str, Any], path: tuple[str | int, ...]) -> Pattern | None:
        found = self.subjects(kind, raw, path, self.names.systems, "system")
        return found and Pattern(kind, *found, test=Test("any_of", ("yes",)), span=self.tree.at(*path))

    _code = _fitted

    def _touched(self, kind: str, raw: Mapping[str, Any], path: tuple[str | int, ...]) -> Pattern | None:
        found = self.subjects(kind, raw, path, self.names.parts, "part")
        key, default, names = (
            ("actions", ACTIONS, ACTIONS) if kind == "touched" else ("states", HARMED, DAMAGE)
        )
        words, place = self._words(raw, path, key, default, names), self._place(raw, path)
        relations = [r for r in ("carries", "covers", "near") if r in raw]
        if len(relations) > 1:
            self.messages.add(
                "KN211", "ask for one of carries, covers, near", self.tree.at(*path), next_step="keep one"
            )
            return None
        relation = relations[0] if relations else ""
        related: tuple[tuple[str, ...], str] | None = ((), "")
        if relation:
            related = self.subjects(relation, raw, path, self.names.systems, "system")
        if found is None or words is None or place is None or related is None:
            return None
        test = Test("any_of", words)
        return Pattern(kind, *found, test, relation, *related, place=place, span=self.tree.at(*path))

    _damaged = _touched

    def _derived(self, kind: str, raw: Mapping[str, Any], path: tuple[str | int, ...]) -> Pattern | None:
        found = self.subjects(kind, raw, path, self.names.derived, "derived fact")
        place = self._place(raw, path)
        if found and found[1]:
            text, step = "a derived fact is named, not bound", "write its id; `side:` may bind its place"
            self.messages.add("KN211", text, self.tree.at(*path, "derived"), next_step=step)
        if found is None or place is None or found[1]:
            return None
        return Pattern(kind, *found, place=place, span=self.tree.at(*path))

    def _planned(self, kind: str, raw: Mapping[str, Any], path: tuple[str | int, ...]) -> Pattern | None:
        found = self.subjects(kind, raw, path, self.names.operations, "operation")
        place = self._place(raw, path)
        if found is None or place is None:
            return None
        return Pattern(kind, *found, place=place, span=self.tree.at(*path))

    def _severity(self, kind: str, raw: Mapping[str, Any], path: tuple[str | int, ...]) -> Pattern | None:
        return Pattern(kind, (str(raw[kind]),), span=self.tree.at(*path))

    def _result(self, kind: str, raw: Mapping[str, Any], path: tuple[str | int, ...]) -> Pattern | None:
        found = self._planned(kind, raw, path)
        words = self._words(raw, path, "outcome", OUTCOMES, OUTCOMES)
        if found is None or words is None:
            return None
        every = sorted({o.kind for o in self.names.operations.values()})
        kinds = self._words(raw, path, "kinds", (), every)
        return None if kinds is None else replace(found, test=Test("any_of", words), kinds=kinds)

    def _method(self, kind: str, raw: Mapping[str, Any], path: tuple[str | int, ...]) -> Pattern | None:
        found = self.subjects(kind, raw, path, self.names.systems, "system")
        return self._worded(
            found, self._words(raw, path, "is" if "is" in raw else "in", (), METHODS), kind, path
        )

    def _procedure(self, kind: str, raw: Mapping[str, Any], path: tuple[str | int, ...]) -> Pattern | None:
        found = self.subjects(kind, raw, path, self.names.operations, "operation")
        return self._worded(found, self._words(raw, path, "verdict", (), VERDICTS), kind, path)

    def _worded(
        self,
        found: tuple[tuple[str, ...], str] | None,
        words: tuple[str, ...] | None,
        kind: str,
        path: tuple[str | int, ...],
    ) -> Pattern | None:
        """A pattern that says which words it looks for; without any it would hold of nothing."""
        span = self.tree.at(*path)
        if words == ():
            key, names = ("in", METHODS) if kind == "method" else ("verdict", VERDICTS)
            self.messages.add(
                "KN213", f"`{kind}` needs `{key}`", span, next_step=f"one or more of: {', '.join(names)}"
            )
        return Pattern(kind, *found, Test("any_of", words), span=span) if found and words else None
