"""Linked programs kept between runs, so that a plan does not wait for a thousand rules to be read again.

A kept program is used only when its key matches: the content of every file, the knockon version, the schemas
and the layout of the types. Anything else - stale, cut short, altered, foreign - is ignored and made anew.
It is JSON: reading it can build the types below and nothing else.
"""

from __future__ import annotations

import hashlib
import os
import re
import stat
from collections.abc import Sequence
from contextlib import suppress
from functools import cache
from pathlib import Path

from ..model import program
from ..model.program import Program
from ..model.record import field_names, replace
from ..model.version import VERSION
from .program_text import TYPES, program_from, program_text
from .tree import MAX_BYTES, lies_in
from .validate import SCHEMAS

MOST_KEPT = 16
RULES = Path(__file__).parents[2] / "rules"
BUILT_IN = ("base", "us_federal", "un_regulations")
_YAML = re.compile(r"\.y.*ml\Z", re.DOTALL)


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
        with os.scandir(room) as listed:
            sources = sorted((s.name, s.stat()) for s in listed if s.name.endswith(".py"))
        names += [f"{name}:{seen.st_size}:{seen.st_mtime_ns}" for name, seen in sources]
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
        return program_from(body)
    except (OSError, ValueError, TypeError, KeyError, IndexError, AttributeError, RecursionError):
        return None


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
    body = program_text(lean)
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
