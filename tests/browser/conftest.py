"""Says plainly at the end of a run that the pages were not looked at in a browser, and what is missing."""

from __future__ import annotations

import pytest


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """One line for all skipped browser tests; quiet output would hide the reason."""
    skipped = [r for r in terminalreporter.stats.get("skipped", []) if "tests/browser" in r.nodeid]
    for reason in sorted({str(r.longrepr[2]) for r in skipped}):
        terminalreporter.write_line(f"{len(skipped)} {reason.removeprefix('Skipped: ')}", yellow=True)
