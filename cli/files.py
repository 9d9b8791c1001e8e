"""Writing files so that an interrupted run leaves the old one whole, and two writers lose nothing."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

from ..engine.diagnostics.message import InputError, Messages
from ..engine.model.span import Span


def write_atomically(path: Path, text: str) -> None:
    """Write whole or not at all: a temporary file beside the target, flushed, then renamed over it."""
    try:
        handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
    except OSError as error:
        raise _refused(path, error) from error
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="") as stream:
            stream.write(text)
            stream.flush()
            os.fsync(stream.fileno())
        mode = path.stat().st_mode & 0o777 if path.exists() else 0o666 & ~_umask()
        os.chmod(temporary, mode)
        os.replace(temporary, path)
    except OSError as error:
        raise _refused(path, error) from error
    finally:
        with contextlib.suppress(FileNotFoundError):
            os.unlink(temporary)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _refused(path: Path, error: OSError) -> InputError:
    messages = Messages()
    reason = (error.strerror or str(error)).lower()
    step = "the old file, if any, is whole; check the folder, its rights and its space"
    messages.add("KN501", f"cannot write `{path}`: {reason}", Span(str(path), 1, 1), next_step=step)
    return InputError(messages)


@contextlib.contextmanager
def locked(path: Path) -> Iterator[None]:
    """Hold the lock of a file while it is read, changed and written; others wait."""
    import fcntl

    lock = path.with_name(f".{path.name}.lock")
    try:
        handle = os.open(lock, os.O_CREAT | os.O_RDWR, 0o644)
    except OSError as error:
        raise _refused(path, error) from error
    try:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)
