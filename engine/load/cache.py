"""Linked programs kept between runs, so that a plan does not wait for a thousand rules to be read again.

A kept program is used only when its key matches: the content of every file, the knockon version, the schemas
and the layout of the types. Anything else - stale, cut short, altered, foreign - is ignored and made anew.
It is JSON: reading it can build the types below and nothing else.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import stat
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from functools import cache
from pathlib import Path
from types import GenericAlias, UnionType
from typing import Any, Union, get_args, get_origin, get_type_hints

from ..model import catalogue, program, rule, span
from ..model.program import Program
from ..model.record import field_names, is_dataclass, replace
from ..model.version import VERSION
from .tree import MAX_BYTES, lies_in
from .validate import SCHEMAS

MOST_KEPT = 16
RULES = Path(__file__).parents[2] / "rules"
BUILT_IN = ("base", "us_federal", "un_regulations")
SHARED: tuple[type, ...] = (rule.Pattern, rule.Rule)  # in this order: a rule is made of patterns
TYPES: tuple[type, ...] = tuple(
    {
        t: None
        for m in (catalogue, rule, program)
        for t in vars(m).values()
        if isinstance(t, type) and is_dataclass(t)
    }
)


def built_in_folders() -> list[Path]:
    """The folders of the packs that come with the package, in stacking order."""
    return [RULES / name for name in BUILT_IN if (RULES / name / "pack.yaml").exists()]


def program_of(folders: Sequence[Path]) -> Program:
    """The program of a stack of packs, from the last run if nothing changed. InputError as load_program."""
    try:
        key = key_of(folders)
    except OSError:
        from .pack import load_program

        return load_program(folders)
    found = kept(key)
    if found is None:
        from .pack import load_program

        found = load_program(folders)
        keep(key, found)
    return found


def folder() -> Path | None:
    """Where programs are kept: KNOCKON_CACHE, else the user's cache folder; None when it is `off`."""
    named = os.environ.get("KNOCKON_CACHE")
    if named == "off":
        return None
    base = os.environ.get("XDG_CACHE_HOME") or os.path.expanduser("~/.cache")
    if not os.path.isabs(base):  # a user without a home; a relative one would litter wherever a case lies
        return Path(named) if named else None
    return Path(named) if named else Path(base) / "knockon"


def key_of(folders: Sequence[Path]) -> str:
    """The key of a stack of packs: every byte that could change what they mean."""
    digest = hashlib.sha256(f"{VERSION}|{_layout()}".encode())
    for path in folders:
        digest.update(f"\0pack {path}\0".encode("utf-8", "surrogateescape"))
        (path / "pack.yaml").stat()  # without it there is nothing to keep, whatever else lies there
        for name in _files(path):
            data = _bytes(os.path.join(path, name)) if _sound(path, name) else b"never read"
            digest.update(os.fsencode(name) + f"\0{len(data)}\0".encode() + data)
    return digest.hexdigest()


def _files(folder: Path) -> list[str]:
    """Every YAML file under a folder, by its name from there, in fixed order."""
    found = []
    for top, _, names in os.walk(folder):
        inner = os.path.relpath(top, folder)
        found += [os.path.normpath(os.path.join(inner, n)) for n in names if _YAML.search(n)]
    return sorted(found)


def _bytes(name: str) -> bytes:
    with open(name, "rb") as stream:
        return stream.read()


def _sound(folder: Path, name: str) -> bool:
    """Whether a file is one that a pack may hold: regular, not endless, and really in the folder."""
    seen = os.lstat(os.path.join(folder, name))
    if stat.S_ISLNK(seen.st_mode):
        file = folder / name
        return lies_in(file, folder) and file.is_file() and file.stat().st_size <= MAX_BYTES
    return stat.S_ISREG(seen.st_mode) and seen.st_size <= MAX_BYTES


@cache
def _layout() -> str:
    """The schemas, the loader and the fields of every kept type: a change of any makes old files foreign."""
    names = [f"{t.__name__}:{','.join(field_names(t))}" for t in TYPES]
    for room in (
        Path(__file__).parent,
        Path(program.__file__).parent,
    ):  # a changed loader may read files otherwise
        for source in sorted(room.glob("*.py")):
            names.append(f"{source.name}:{source.stat().st_size}:{source.stat().st_mtime_ns}")
    for name in ("pack.schema.json", "content.schema.json"):
        names.append(hashlib.sha256((SCHEMAS / name).read_bytes()).hexdigest())
    return "|".join(names)


def kept(key: str) -> Program | None:
    """The program under a key, or None when it is not there, not whole, or not ours."""
    where = folder()
    if where is None:
        return None
    try:
        file = where / f"{key}.json"
        if not _own(file):
            return None
        text = file.read_text("utf-8")
        head, _, body = text.partition("\n")
        if head != f"{key} {hashlib.sha256(body.encode()).hexdigest()}":
            return None
        built = _Reading(json.loads(body)).program
    except (OSError, ValueError, TypeError, KeyError, IndexError, AttributeError, RecursionError):
        return None
    return built if isinstance(built, Program) else None


def _own(file: Path) -> bool:
    """Whether nobody but this user can have written a file, where the system can tell."""
    seen = file.lstat()
    return not hasattr(os, "getuid") or (
        seen.st_uid == os.getuid() and not seen.st_mode & 0o022 and stat.S_ISREG(seen.st_mode)
    )


def keep(key: str, made: Program) -> None:
    """Keep a program; a folder that cannot be written to is no fault."""
    where = folder()
    if where is None:
        return
    lean = replace(
        made, scenarios=(), promises=()
    )  # only the `pack` commands need them, and they read the files
    body = json.dumps(_written(lean), ensure_ascii=False, separators=(",", ":"))
    import tempfile

    with suppress(OSError):
        where.mkdir(parents=True, exist_ok=True)
        handle, temporary = tempfile.mkstemp(dir=where, suffix=".part")
        try:
            with os.fdopen(handle, "w", encoding="utf-8") as stream:
                stream.write(f"{key} {hashlib.sha256(body.encode()).hexdigest()}\n{body}")
            os.replace(temporary, where / f"{key}.json")
            _tidy(where)
        finally:
            with suppress(FileNotFoundError):
                os.unlink(temporary)


def _tidy(where: Path) -> None:
    """Let go of the oldest programs, and of what a run that was killed left half written."""
    for pattern in ("*.json", "*.part"):
        newest = sorted(where.glob(pattern), key=lambda f: f.stat().st_mtime_ns, reverse=True)
        for file in newest[MOST_KEPT:]:
            file.unlink(missing_ok=True)


def _written(made: Program) -> dict[str, Any]:
    """The program, and what its parts share: files, patterns and rules are written once and named by number."""
    tables: dict[type, list[Any]] = {kind: [] for kind in SHARED}
    files, numbers = dict[str, int](), dict[int, int]()

    def write(value: Any) -> Any:
        if isinstance(value, span.Span):
            return [files.setdefault(value.file, len(files)), *value[1:]]
        if is_dataclass(value):
            if id(value) in numbers:
                return numbers[id(value)]
            raw = [write(getattr(value, name)) for name in field_names(value)]
            if type(value) not in tables:
                return raw
            tables[type(value)].append(raw)
            return numbers.setdefault(id(value), len(tables[type(value)]) - 1)
        if isinstance(value, Mapping):
            return {k: write(v) for k, v in value.items()}
        if isinstance(value, frozenset):
            return sorted(write(v) for v in value)
        if isinstance(value, tuple | list):
            return [write(v) for v in value]
        return value

    whole = write(made)
    return {"files": list(files), "program": whole} | {k.__name__: rows for k, rows in tables.items()}


_YAML = re.compile(r"\.y.*ml\Z", re.DOTALL)
Read = Callable[[Any], Any]


class _Reading:
    """Builds a program from what `_written` left of it; what needs no building is left as JSON made it."""

    def __init__(self, raw: Mapping[str, Any]) -> None:
        self.files = raw["files"]
        self.tables: dict[type, list[Any]] = {}
        self.readers: dict[Any, Read | None] = {}
        for kind in SHARED:
            build = self._record(kind)
            self.tables[kind] = [build(part) for part in raw[kind.__name__]]
        self.program = self._record(Program)(raw["program"])

    def _reader(self, kind: Any) -> Read | None:
        if kind not in self.readers:
            self.readers[kind] = self._made(kind)
        return self.readers[kind]

    def _made(self, kind: Any) -> Read | None:
        """How to build a value of a type; None where it is what JSON knows already."""
        if kind in self.tables:
            return self.tables[kind].__getitem__
        if kind in TYPES:
            return self._record(kind)
        if kind is span.Span:
            files, make = self.files, span.Span
            return lambda raw: make(files[raw[0]], *raw[1:])
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

    def _record(self, kind: Any) -> Read:
        hints = get_type_hints(kind)
        found = [(i, self._reader(hints[name])) for i, name in enumerate(field_names(kind))]
        readers = [(i, read) for i, read in found if read is not None]

        def build(raw: list[Any]) -> Any:
            for i, read in readers:
                raw[i] = read(raw[i])
            return kind(*raw)

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
