"""The results file of a batch: JSON Lines in the order of the cases, safe to interrupt and to go on with.

Each line is with the system before the next one is written, so a kill costs nothing; it is on the disk within a second
or so, so a power cut costs the last second. What it tore is recognised by `resume` and those cases are done again.
"""

from __future__ import annotations

import json
import os
import time  # only to sync at intervals: no result depends on it
from collections.abc import Iterator
from contextlib import ExitStack, suppress
from itertools import islice
from pathlib import Path
from types import TracebackType
from typing import Any

from ..diagnostics.message import InputError, Messages
from ..model.span import Span
from .batch import OK, Result
from .cases import Item

FIRST = b'{"number":'
LONGEST_LINE = 1 << 26  # a file that is not ours may have no line end at all
SYNC_SECONDS = 1.0
SYNC_SHARE = 0.01  # of the time, however slow the disk: then rather more than a second is at stake


class ResultsFile:
    """Open for appending, locked against a second writer; `done` cases are in it, `bad` of them failed.

    InputError when it cannot be written, is being written, exists without `resume`, or is of another `run`.
    """

    def __init__(self, path: Path, run: str, resume: bool) -> None:
        self.path, self.run = path, run
        self.done, self.bad, self.last = 0, 0, ""
        self.unsynced, self.due = False, time.monotonic() + SYNC_SECONDS
        try:
            if path.exists() and not path.is_file():  # a pipe would never answer
                raise OSError(0, "is a directory" if path.is_dir() else "not a regular file")
            self.file = path.open("r+b" if path.exists() else "x+b")
        except OSError as error:
            raise self._unwritable(error) from error
        with ExitStack() as undo:  # whatever refuses the file lets go of it, and of its lock
            undo.callback(self.file.close)
            try:
                _lock(self.file)
            except BlockingIOError as error:
                step = "wait for it, or name another file"
                raise self._refusal("another run is writing it", step) from error
            if resume:
                self._continue()
            elif self.file.read(1):
                step = "add `--resume` to go on with it, or name another file"
                raise self._refusal("it exists already", step)
            undo.pop_all()

    def _continue(self) -> None:
        """Find the last whole line; what an interruption or a power cut left of further ones is cut off."""
        whole = 0
        while line := self.file.readline(LONGEST_LINE):
            # JSON has no NUL: a file system put it in place of data
            if not line.endswith(b"\n") or b"\0" in line:
                self._check_torn(line)
                break
            whole += len(line)
            self.done += 1
            self._check(line)
        self.file.seek(whole)
        self.file.truncate()

    def _check_torn(self, line: bytes) -> None:
        """Ours when whole lines of ours stand before it, or it begins as ours do."""
        begun = line.partition(b"\0")[0][: len(FIRST)]
        ours = FIRST.startswith(begun) and (begun or self.done or not line.strip(b"\0"))
        if not ours or len(line) == LONGEST_LINE:
            raise self._foreign(self.done + 1)

    def _check(self, line: bytes) -> None:
        with suppress(ValueError, KeyError, TypeError):
            entry = json.loads(line)
            self.last = str(entry["at"])
            self.bad += entry["state"] != OK
            if entry["number"] == self.done - 1 and entry["run"] == self.run:
                return
        raise self._foreign(self.done)

    def earlier(self) -> Iterator[Result]:
        """The results that were there when the file was opened."""
        with self.path.open("rb") as lines:
            for line in islice(lines, self.done):
                value = json.loads(line)
                number, at, state, _ = (value.pop(name) for name in ("number", "at", "state", "run"))
                yield Result(number, at, state, value)

    def rest(self, items: Iterator[Item]) -> Iterator[Item]:
        """The items that are not done yet. InputError when those that are done are not these."""
        last = next(islice(items, self.done - 1, None), None) if self.done else None
        if self.done and (last is None or last.at != self.last):
            reason = f"it ends with `{self.last}`, which is not case {self.done} here"
            raise self._refusal(reason, "give the same cases")
        return items

    def write(self, result: Result) -> None:
        """Append one result; it is with the system before the next one is asked for, and soon on the disk."""
        head = {"number": result.number, "at": result.at, "state": result.state, "run": self.run}
        text = json.dumps({**head, **result.value}, ensure_ascii=False, separators=(",", ":"))
        try:
            self.file.write(text.encode("utf-8", "backslashreplace") + b"\n")
            self.file.flush()
            self.unsynced = True
            if time.monotonic() >= self.due:
                self.sync()
        except OSError as error:
            raise self._unwritable(error) from error

    def sync(self) -> None:
        """Wait until all that was written is on the disk. OSError when it cannot be."""
        begun = time.monotonic()
        os.fsync(self.file.fileno())
        ended = time.monotonic()
        self.unsynced, self.due = False, ended + max(SYNC_SECONDS, (ended - begun) / SYNC_SHARE)

    def _unwritable(self, error: OSError) -> InputError:
        reason = (error.strerror or str(error)).lower()
        return self._refusal(reason, "check the folder, its rights and its space, then go on with `--resume`")

    def _foreign(self, line: int) -> InputError:
        reason = f"its line {line} is of another run, other packs or other options"
        return self._refusal(reason, "give the same packs and options, or name another file")

    def _refusal(self, reason: str, step: str) -> InputError:
        messages = Messages()
        messages.add(
            "KN503", f"cannot write `{self.path}`: {reason}", Span(str(self.path), 1, 1), next_step=step
        )
        return InputError(messages)

    def __enter__(self) -> ResultsFile:
        return self

    def __exit__(self, kind: type[BaseException] | None, *_: TracebackType | BaseException | None) -> None:
        try:
            if self.unsynced:
                self.sync()
        except OSError as error:
            if kind is None:
                raise self._unwritable(error) from error
        finally:
            with suppress(OSError):  # a failed write was reported when it happened
                self.file.close()


def _lock(file: Any) -> None:
    with suppress(ImportError):
        import fcntl

        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
