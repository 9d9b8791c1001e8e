"""A pseudo terminal with the installed command in it, as a person sits before one."""

from __future__ import annotations

import fcntl
import os
import pty
import re
import select
import signal
import subprocess
import sys
import termios
import time
from pathlib import Path
from typing import Any

KNOCKON = str(Path(sys.executable).with_name("knockon"))
PATIENCE = 60.0


def _before_a_person() -> None:
    """The terminal is the command's own, and Ctrl-C is heard: a run in the background hands on that it is not."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    fcntl.ioctl(0, termios.TIOCSCTTY, 0)


class Terminal:
    """The command as the leader of a terminal of its own: what is typed reaches it through the line discipline."""

    def __init__(self, *words: str, cwd: Path, **environment: str) -> None:
        self.ours, self.theirs = pty.openpty()
        self.before, self.shown = self.modes(), ""
        self.process = subprocess.Popen(
            [KNOCKON, *words],
            cwd=cwd, env={**os.environ, "COLUMNS": "80", "TERM": "xterm", **environment},
            stdin=self.theirs, stdout=self.theirs, stderr=self.theirs, start_new_session=True,
            preexec_fn=_before_a_person,
        )  # fmt: skip

    def modes(self) -> list[Any]:
        """How the terminal is set: echo, whole lines, signals, control characters."""
        return termios.tcgetattr(self.theirs)

    def type(self, keys: str) -> None:
        """Press keys; `\\x03` is Ctrl-C."""
        os.write(self.ours, keys.encode())

    def until(self, pattern: str) -> str:
        """What is shown from here until it fits the pattern; all of it once nothing more comes."""
        begun, since = time.monotonic(), len(self.shown)
        while not re.search(pattern, self.shown[since:]):
            over = self.process.poll() is not None
            if select.select([self.ours], [], [], 0 if over else 0.05)[0]:
                self.shown += os.read(self.ours, 65536).decode("utf-8", "replace")
            elif over:
                break
            assert time.monotonic() - begun < PATIENCE, self.shown[-2000:]
        return self.shown[since:]

    def kill(self) -> None:
        """Kill -9, at once."""
        self.process.kill()
        self.process.wait()

    def ended(self) -> int:
        """The exit code once the command is done."""
        self.until(r"\Z.")
        return self.process.wait(PATIENCE)

    def __enter__(self) -> Terminal:
        return self

    def __exit__(self, *_: object) -> None:
        self.kill()
        os.close(self.ours)
        os.close(self.theirs)
