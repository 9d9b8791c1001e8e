"""Data classes that cost nothing until they are used.

The standard library writes and compiles up to six methods for each data class when its module is imported: for the
hundred small classes on the way to a plan that was a third of the whole command. Here `__init__` is compiled for classes
of which more than a few records are made, and the other methods are shared; the standard library's module, which loads
the tools that read source code, is not loaded. Everything else is as there, and its own `fields`, `replace` and `asdict`
work on these classes too. One thing differs: that a frozen record is never changed is held by the type checker, which is
shown the standard library's decorator, and not while the program runs.
"""

from __future__ import annotations

from collections.abc import Callable
from operator import attrgetter
from typing import TYPE_CHECKING, Any

__all__ = ["dataclass", "field", "field_names", "is_dataclass", "replace"]

if TYPE_CHECKING:
    from dataclasses import dataclass, field, is_dataclass, replace
else:

    def field(**said: Any) -> _Said:
        """What is to be said of a field beside its type, as the standard library's `field` takes it."""
        return _Said(said)

    def dataclass(
        *, frozen: bool = False, slots: bool = True, weakref_slot: bool = False
    ) -> Callable[[type], type]:
        """The decorator of the standard library, for classes with slots that inherit no fields."""
        return lambda kind: _made(kind, frozen, weakref_slot)

    def is_dataclass(value: object) -> bool:
        """Whether a value, or a type, is a record."""
        return hasattr(value, "__field_defaults__")

    def replace(record: Any, /, **changes: Any) -> Any:
        """A copy of a record with some fields changed."""
        for name in record.__match_args__:
            if name not in changes:
                changes[name] = getattr(record, name)
        return record.__class__(**changes)


MISSING = object()


class _Said:
    """What was said of a field; `said` by the names of the standard library."""

    def __init__(self, said: dict[str, Any]) -> None:
        self.said = said
        self.default = said.get("default", MISSING)
        self.make: Callable[[], Any] | None = said.get("default_factory")


def field_names(record: Any) -> tuple[str, ...]:
    """The names of the fields a record is made with, or those of its type, in order."""
    found: tuple[str, ...] = record.__match_args__
    return found


FEW = 8  # so many records of a class are filled in by hand in the time that compiling takes
_COUNT: dict[type, int] = {}


def _made(kind: type, frozen: bool, weakref: bool) -> type:
    """The class again, with a slot for each field, and the methods of a data class that it has not written itself."""
    own = {k: v for k, v in vars(kind).items() if k not in ("__dict__", "__weakref__")}
    fields = tuple(own.get("__annotations__", ()))
    defaults = {name: own.pop(name) for name in fields if name in own}
    for name, given in defaults.items():
        if type(given).__hash__ is None:
            raise ValueError(
                f"{kind.__name__}.{name}: one mutable default would serve every record; use `field`"
            )
    said = {name: given.said for name, given in defaults.items() if isinstance(given, _Said)}
    ignored = {name for name in said if not said[name].get("compare", True)}
    later = {name for name in said if not said[name].get("init", True)}
    values = attrgetter(*[name for name in fields if name not in ignored])
    shared = {
        "__init__": _first_init,
        "__repr__": _repr,
        "__eq__": _equal(values),
        "__hash__": _hash(values) if frozen else None,
        "__dataclass_fields__": _Fields(),
        "__match_args__": tuple([name for name in fields if name not in later]),
        "__field_defaults__": defaults,
        "__slots__": (*fields, "__weakref__") if weakref else fields,
    }
    if "__eq__" in own and "__hash__" not in own:
        own["__hash__"] = None
    made = type(kind)(kind.__name__, kind.__bases__, shared | own)
    made.__qualname__ = kind.__qualname__
    return made


def _first_init(self: Any, *args: Any, **given: Any) -> None:
    """Fill in a record of a class that has had few so far: its `__init__` is compiled for the others.

    What is not plainly right is left to that `__init__`, which says what is wrong.
    """
    kind = type(self)
    names, defaults = kind.__match_args__, kind.__field_defaults__
    values = given | dict(zip(names, args, strict=False))
    _COUNT[kind] = count = _COUNT.get(kind, 0) + 1
    if count > FEW or len(values) < len(args) + len(given) or any(name not in names for name in given):
        return _compiled(self, args, given)
    for name in names:
        value = values.get(name, MISSING)
        if value is MISSING:
            value = defaults.get(name, MISSING)
            if isinstance(value, _Said):
                value = value.make() if value.make else value.default
            if value is MISSING:
                return _compiled(self, args, given)
        setattr(self, name, value)
    if hasattr(kind, "__post_init__"):
        self.__post_init__()


def _compiled(self: Any, args: tuple[Any, ...], given: dict[str, Any]) -> None:
    """Compile the `__init__` of this class, once, and go on with it."""
    kind = type(self)
    space: dict[str, Any] = {"MISSING": MISSING}
    taken, body = ["self"], []
    for name in kind.__match_args__:
        default, value = kind.__field_defaults__.get(name, MISSING), name
        make = None
        if isinstance(default, _Said):
            default, make = default.default, default.make
        if make:
            space[f"make_{name}"], value = make, f"make_{name}() if {name} is MISSING else {name}"
        required = default is MISSING and make is None
        space[f"default_{name}"] = default
        taken.append(name if required else f"{name}=default_{name}")
        body.append(f"    self.{name} = {value}")
    if hasattr(kind, "__post_init__"):
        body.append("    self.__post_init__()")
    exec(f"def __init__({', '.join(taken)}):\n" + "\n".join(body), space)
    kind.__init__ = space["__init__"]
    kind.__init__(self, *args, **given)


def _repr(self: Any) -> str:
    shown = [f"{name}={getattr(self, name)!r}" for name in self.__slots__ if name != "__weakref__"]
    return f"{type(self).__qualname__}({', '.join(shown)})"


def _equal(values: Callable[[Any], Any]) -> Callable[[Any, object], Any]:
    return lambda self, other: (
        values(self) == values(other) if other.__class__ is self.__class__ else NotImplemented
    )


def _hash(values: Callable[[Any], Any]) -> Callable[[Any], int]:
    return lambda self: hash(values(self))


class _Fields:
    """The fields as the standard library describes them, made when somebody asks."""

    def __get__(self, _: object, kind: Any) -> Any:
        import dataclasses

        given = {
            n: d.said if isinstance(d, _Said) else {"default": d} for n, d in kind.__field_defaults__.items()
        }
        listed = [
            (n, type_, dataclasses.field(**given.get(n, {}))) for n, type_ in kind.__annotations__.items()
        ]
        made = dataclasses.make_dataclass(kind.__name__, listed)
        kind.__dataclass_fields__ = made.__dataclass_fields__  # type: ignore[attr-defined]
        return kind.__dataclass_fields__
