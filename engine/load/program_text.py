"""A linked program as text that is read back fast. It is JSON: reading it can build the types below and nothing else.

Most rules have no part in a plan, so each has a line of its own, which is read when the rule is asked for something.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from functools import cache, partial
from types import GenericAlias, UnionType
from typing import Any, Union, get_args, get_origin, get_type_hints

from ..model import catalogue, program, rule, span
from ..model.program import Program
from ..model.record import field_names, is_dataclass

SHARED: tuple[type, ...] = (catalogue.Test, rule.Pattern, rule.Rule)  # each is made of those before it
TYPES: tuple[type, ...] = tuple(
    {
        t: None
        for m in (catalogue, rule, program)
        for t in vars(m).values()
        if isinstance(t, type) and is_dataclass(t)
    }
)
_EFFECTS = field_names(rule.Alternative).index("effects")
_SPAN: Callable[[tuple[Any, ...]], span.Span] = partial(tuple.__new__, span.Span)  # without a call in between
Read = Callable[[Any], Any]


def program_text(made: Program) -> str:
    """The program; what its parts share is written once and named by number. Each rule has a line of its own."""
    tables: dict[type, dict[str, int]] = {kind: {} for kind in SHARED}
    files, numbers = dict[str, int](), dict[int, int]()

    def write(value: Any) -> Any:
        if isinstance(value, span.Span):
            return [files.setdefault(value.file, len(files)), *value[1:]]
        if is_dataclass(value):
            if id(value) in numbers:
                return numbers[id(value)]
            raw = [write(getattr(value, name)) for name in field_names(value)]
            if isinstance(value, rule.Alternative) and value.effects == value.rule.then:
                raw[_EFFECTS] = None
            if value.__class__ not in tables:
                return raw
            table = tables[value.__class__]
            return numbers.setdefault(id(value), table.setdefault(_text(raw), len(table)))
        if isinstance(value, Mapping):
            return {k: write(v) for k, v in value.items()}
        if isinstance(value, frozenset):
            return sorted(write(v) for v in value)
        if isinstance(value, tuple | list):
            return [write(v) for v in value]
        return value

    whole = write(made)
    tests, patterns, rules = ([*tables[kind]] for kind in SHARED)
    lines = (_text([list(files), whole]), f"[{','.join(tests)}]", f"[{','.join(patterns)}]", *rules)
    return "\n".join(lines)


def program_from(text: str) -> Program:
    """The program of a text that `program_text` made. Another one raises whatever it is not ready for, at the latest
    when a rule is asked for something; nothing but the types above can come of it.
    """
    made = _Reading(text).program
    if not isinstance(made, Program):
        raise TypeError("no program")
    return made


def _text(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"))


class _Kept:
    """A record of which something is filled in when it is asked for; to all others it is one of its kind."""

    __slots__ = ()

    def __reduce__(self) -> tuple[Any, ...]:
        return self.__class__, tuple([getattr(self, name) for name in field_names(self)])

    def __repr__(self) -> str:
        kind, values = self.__reduce__()
        return repr(kind(*values))


class _KeptRule(_Kept, rule.Rule):
    """A rule that stays a line of text until it is asked for anything: a plan is made by a tenth of the rules."""

    __slots__ = ("_line",)
    __class__ = property(lambda self: rule.Rule)

    def __init__(self, line: Callable[[], rule.Rule]) -> None:
        self._line = line

    def __getattr__(self, name: str) -> Any:
        if name not in field_names(rule.Rule):
            raise AttributeError(name)
        made = self._line()
        for each in field_names(rule.Rule):
            setattr(self, each, getattr(made, each))
        return getattr(made, name)


class _KeptAlternative(_Kept, rule.Alternative):
    """An alternative that does what its rule does."""

    __slots__ = ()
    __class__ = property(lambda self: rule.Alternative)

    def __getattr__(self, name: str) -> Any:
        if name != "effects":
            raise AttributeError(name)
        setattr(self, name, self.rule.then)
        return self.rule.then


def _line(read: Read, line: str) -> Any:
    return read(json.loads(line))


@cache
def _meanings() -> dict[str, Any]:
    """What the annotations of the types mean. They are looked up once each; most types say the same few."""
    said = {text for kind in TYPES for text in kind.__annotations__.values()}
    names = {name: value for m in (catalogue, rule, program) for name, value in vars(m).items()}
    return get_type_hints(type("", (), {"__annotations__": {text: text for text in said}}), names)


class _Reading:
    """Builds a program from what `program_text` left of it; what needs no building is left as JSON made it."""

    def __init__(self, body: str) -> None:
        head, tests, patterns, *rules = body.split("\n")
        self.files, whole = json.loads(head)
        self.tables: dict[type, list[Any]] = {}
        self.readers: dict[Any, Read | None] = {}
        for kind, rows in zip(SHARED, (tests, patterns), strict=False):
            build = self._record(kind)
            self.tables[kind] = [build(raw) for raw in json.loads(rows)]
        read = self._record(rule.Rule)
        self.tables[rule.Rule] = [_KeptRule(partial(_line, read, line)) for line in rules]
        self.program = self._record(Program)(whole)

    def _reader(self, kind: Any) -> Read | None:
        if kind not in self.readers:
            self.readers[kind] = self._made(kind)
        return self.readers[kind]

    def _made(self, kind: Any) -> Read | None:
        """How to build a value of a type; None where it is what JSON knows already."""
        if kind in self.tables:
            return self.tables[kind].__getitem__
        if kind is rule.Alternative:
            return self._alternative()
        if kind in TYPES:
            return self._record(kind)
        if kind is span.Span:
            return self._place
        origin, args = get_origin(kind), get_args(kind)
        if origin in (Union, UnionType):
            return self._union(args)
        if origin is tuple and isinstance(kind, GenericAlias):
            return self._tuple(args)
        if origin is frozenset:
            return frozenset
        if origin is not None and issubclass(origin, Mapping):
            inner = self._reader(args[1])
            return None if inner is None else lambda raw: {k: inner(v) for k, v in raw.items()}
        return None

    def _place(self, raw: list[Any]) -> span.Span:
        file, line, column, length = raw
        return _SPAN((self.files[file], line, column, length))

    def _record(self, kind: Any, make: Any = None) -> Read:
        meant, said = _meanings(), kind.__annotations__
        found = [(i, self._reader(meant[said[name]])) for i, name in enumerate(field_names(kind))]
        readers = [(i, read) for i, read in found if read is not None]
        make = make or kind

        def build(raw: list[Any]) -> Any:
            for i, read in readers:
                raw[i] = read(raw[i])
            return make(*raw)

        return build

    def _alternative(self) -> Read:
        make = self._record(rule.Alternative, _KeptAlternative)

        def build(raw: list[Any]) -> Any:
            if raw[_EFFECTS] is not None:
                return make(raw)
            raw[_EFFECTS] = ()
            made = make(raw)
            del made.effects
            return made

        return build

    def _tuple(self, args: tuple[Any, ...]) -> Read:
        if len(args) == 2 and args[1] is Ellipsis:
            inner = self._reader(args[0])
            return tuple if inner is None else lambda raw: tuple([inner(part) for part in raw])
        readers = [self._reader(a) for a in args]
        return lambda raw: tuple(
            [part if read is None else read(part) for read, part in zip(readers, raw, strict=True)]
        )

    def _union(self, args: tuple[Any, ...]) -> Read | None:
        """Optional things, texts or numbers, and a rule's conditions: a pattern, or groups of patterns."""
        plain = [a for a in args if a is not type(None)]
        if set(plain) <= {str, float, int}:
            return None
        inner: Any = self._reader(plain[0])
        if len(plain) == 1:
            return inner and (lambda raw: None if raw is None else inner(raw))
        groups: Any = self._reader(plain[1])
        return lambda raw: (inner if isinstance(raw, int) else groups)(raw)
