"""Writing files so that an interrupted run leaves the old one whole, and two writers lose nothing."""

from __future__ import annotations

import contextlib
import errno
import os
import sys
from collections.abc import Iterator
from pathlib import Path

from ..engine.diagnostics.message import InputError, Messages
from ..engine.model.span import Span

try:
    import fcntl
except ImportError:  # no such lock on this system: a single writer is safe all the same
    fcntl = None  # type: ignore[assignment]


def write_atomically(path: Path, text: str) -> None:
    """Write whole or not at all: a temporary file beside the target, flushed, then renamed over it."""
    with replaced(path) as temporary, temporary.open("w", encoding="utf-8", newline="") as stream:
        stream.write(text)


@contextlib.contextmanager
def replaced(path: Path) -> Iterator[Path]:
    """A temporary file to write to, which takes the place of the target once the block has ended well."""
    import tempfile  # with what it brings along slower to load than a plan is to make

    target = Path(os.path.realpath(path))  # a link stays a link
    try:
        refuse_read_only(target)
        handle, name = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}.", suffix=".part")
    except OSError as error:
        raise _refused(path, error) from error
    temporary = Path(name)
    try:
        yield temporary
        os.fsync(handle)
        mode = target.stat().st_mode & 0o777 if target.exists() else 0o666 & ~_umask()
        os.chmod(temporary, mode)
        os.replace(temporary, target)
        _flush_folder(target.parent)
    except OSError as error:
        raise _refused(path, error) from error
    finally:
        os.close(handle)
        with contextlib.suppress(OSError):
            temporary.unlink()


def refuse_same(out: Path, *read: Path) -> None:
    """An answer never takes the place of what it was made from."""
    for path in read:
        same = os.path.realpath(out) == os.path.realpath(path)
        if same or (out.exists() and path.exists() and os.path.samefile(out, path)):
            raise _refused(out, FileExistsError(errno.EEXIST, "this run reads it; name another"))


def deliver(text: str, out: Path | None, *read: Path) -> None:
    """An answer to stdout, or to a file that is none of those it was made from."""
    if out is None:
        sys.stdout.write(text)
    else:
        refuse_same(out, *read)
        write_atomically(out, text)


def refuse_read_only(path: Path) -> None:
    """A file somebody has closed for writing is not replaced either; nor is what is no file."""
    if path.exists() and not path.is_file():
        raise _refused(
            path, OSError(errno.EINVAL, "it is a folder" if path.is_dir() else "it is no regular file")
        )
    if path.exists() and not path.stat().st_mode & 0o222:
        raise _refused(path, PermissionError(errno.EACCES, "the file is read-only"))


def _flush_folder(folder: Path) -> None:
    """The new name itself must survive a power cut; not every system can say so."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def made_folder(path: Path) -> Path:
    """The folder, made if it is not there; a message where it cannot be."""
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise _refused(path, error) from error
    return path


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _refused(path: Path, error: OSError) -> InputError:
    messages = Messages()
    reason = (error.strerror or str(error)).lower()
    step = "the old file, if any, is whole; check the folder, its rights and its space"
    messages.add("KN503", f"cannot write `{path}`: {reason}", Span(str(path), 1, 1), next_step=step)
    return InputError(messages)


@contextlib.contextmanager
def locked(path: Path) -> Iterator[None]:
    """Hold the lock of a file while it is read, changed and written; others wait."""
    if fcntl is None:
        yield
        return
    target = Path(os.path.realpath(path))
    lock = target.with_name(f".{target.name}.lock")
    try:
        handle = _hold(lock)
    except OSError as error:
        raise _refused(path, error) from error
    try:
        _sweep(target)
        yield
    finally:
        with contextlib.suppress(OSError):
            lock.unlink()
        os.close(handle)


def _sweep(target: Path) -> None:
    """Remove what a writer that was killed left half written; nobody else writes while the lock is held."""
    import glob

    for half in target.parent.glob(f".{glob.escape(target.name)}.*.part"):
        with contextlib.suppress(OSError):
            half.unlink()


def _hold(lock: Path) -> int:
    """The lock of the file that bears the name now: its last holder may have removed the one waited for."""
    while True:
        handle = os.open(lock, os.O_CREAT | os.O_RDWR | os.O_NOFOLLOW, 0o644)
        fcntl.flock(handle, fcntl.LOCK_EX)
        with contextlib.suppress(FileNotFoundError):
            if os.path.samestat(os.fstat(handle), os.stat(lock)):
                return handle
        os.close(handle)
