"""How much packs may ask for. A rule that could explode is refused by name, before it costs time or memory."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

from ..diagnostics.message import Messages
from ..model.places import expand, meets
from ..model.rule import Alternative, Pattern, Rule
from .catalogues import Catalogues

MAX_RECORD_PATTERNS = 12
MAX_PATTERNS = 400
MAX_EFFECTS = 200
MAX_MATCHES = 5_000
MAX_MATCHES_IN_ALL = 25_000
MAX_ALTERNATIVES_IN_ALL = 4_000
HEAVIEST = 3
Record = tuple[str, str, str]  # subject, place, system
Key = tuple[object, ...]


class Bounds:
    """Counts what the rules of one link could come to; every rule beyond a bound has its message."""

    def __init__(self, names: Catalogues, messages: Messages) -> None:
        self.names, self.messages = names, messages
        self.matches: Counter[str] = Counter()
        self.rules: dict[str, Rule] = {}
        self.alternatives = 0
        self._met: dict[Key, int] = {}

    def room_for(self, rule: Rule, choices: Sequence[tuple[Pattern, ...]]) -> bool:
        """Whether the rule's own size, and with it that of all rules, stays within bounds."""
        before, self.alternatives = self.alternatives, self.alternatives + len(choices)
        patterns = sum(map(len, choices)) + sum(map(len, rule.unless))
        effects = sum(len(e.subjects) for e in rule.then)
        if patterns > MAX_PATTERNS:
            text = f"`{rule.id}` has {patterns:,} conditions; at most {MAX_PATTERNS}"
            self._refuse(rule, text, "conclude a derived fact from some of them first")
        elif effects > MAX_EFFECTS:
            text = f"`{rule.id}` has {effects:,} effects; at most {MAX_EFFECTS}"
            self._refuse(rule, text, "split the rule")
        elif before <= MAX_ALTERNATIVES_IN_ALL < self.alternatives:
            text = f"with `{rule.id}` the rules stand for more than {MAX_ALTERNATIVES_IN_ALL:,} alternatives"
            self._refuse(rule, text, "use fewer rules, or conclude a derived fact in place of `any`")
        else:
            return self.alternatives <= MAX_ALTERNATIVES_IN_ALL
        return False

    def count(self, alternative: Alternative) -> None:
        """Refuse a conjunction whose matches could multiply without end; names already bound narrow it."""
        rule, records = alternative.rule, alternative.records
        if len(records) > MAX_RECORD_PATTERNS:
            text = f"`{rule.id}` joins {len(records)} records; at most {MAX_RECORD_PATTERNS}"
            self._refuse(rule, text, "conclude a derived fact from some of them first")
            return
        size, bound = 1, set[str]()
        for pattern in records:
            size *= self._reach(pattern, bound)
            bound |= _variables(pattern)
        if size > MAX_MATCHES:
            text = f"`{rule.id}` could match {size:,} times; at most {MAX_MATCHES:,}"
            self._refuse(rule, text, "join the patterns by a shared name, or name the parts")
            return
        self.rules[rule.id] = rule
        self.matches[rule.id] += size * sum(len(e.subjects) for e in rule.then)

    def judge(self) -> None:
        """Refuse what only all rules together make too much, and name the heaviest of the heaviest pack."""
        size = self.matches.total()
        if size <= MAX_MATCHES_IN_ALL:
            return
        packs: Counter[str] = Counter()
        for id_, matches in self.matches.items():
            packs[self.rules[id_].pack] += matches
        (pack, part), *_ = packs.most_common(1)
        heaviest = [r for id_, _ in self.matches.most_common() if (r := self.rules[id_]).pack == pack][
            :HEAVIEST
        ]
        named = ", ".join(f"`{r.id}` {self.matches[r.id]:,}" for r in heaviest)
        text = (
            f"all rules together could have {size:,} effects on one case, those of `{pack}` {part:,} ({named});"
            f" at most {MAX_MATCHES_IN_ALL:,}"
        )
        step = "narrow these first: name parts or systems, or conclude a derived fact"
        self.messages.add("KN221", text, *(r.span for r in heaviest), next_step=step)

    def _refuse(self, rule: Rule, text: str, step: str) -> None:
        self.messages.add("KN221", text, rule.span, next_step=step)

    def _reach(self, pattern: Pattern, bound: set[str]) -> int:
        """At most how many records a pattern can meet once the names bound before it have their values."""
        slots = (pattern.variable, pattern.place, pattern.relation_variable)
        fixed = tuple(slot in bound for slot in slots)
        place = "" if pattern.place.startswith("$") else pattern.place
        key = (
            *(pattern.kind, pattern.subjects, place, pattern.relation, pattern.systems),
            *(pattern.relation_variable != "", fixed),
        )
        if key not in self._met:
            records = [r for r in self._records(pattern) if meets(place, r[1])]
            groups = Counter(tuple(v for v, f in zip(r, fixed, strict=True) if f) for r in records)
            self._met[key] = max(groups.values(), default=1)
        return self._met[key]

    def _records(self, pattern: Pattern) -> Iterable[Record]:
        """All records there could be for a pattern, wherever on the vehicle."""
        kind, names = pattern.kind, self.names
        if kind in ("touched", "damaged"):
            for part in (names.parts[s] for s in pattern.subjects or names.parts):
                related: Iterable[str] = ("",)
                if pattern.relation:
                    related = getattr(part, pattern.relation)
                    if not pattern.relation_variable:
                        related = ("",) if set(pattern.systems) & set(related) else ()
                yield from ((part.id, place, system) for system in related for place in part.places)
        elif kind == "fact":
            yield from (
                (value, place, "") for value, place in names.facts[pattern.subjects[0]].places.items()
            )
        elif kind in ("planned", "result", "procedure", "derived"):
            things = names.derived if kind == "derived" else names.operations
            for id_ in pattern.subjects or things:
                wide = "vehicle" if kind == "procedure" else things[id_].per
                yield from ((id_, place, "") for place in expand("", wide))
        elif kind != "severity":
            yield from ((system, "", "") for system in pattern.subjects or names.systems)
        else:
            yield ("", "", "")


def _variables(pattern: Pattern) -> set[str]:
    return {v for v in (pattern.variable, pattern.relation_variable, pattern.place) if v.startswith("$")}
