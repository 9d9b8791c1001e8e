"""What a service said through pip-audit against the packages installed.

    audit_answer.py SERVICE ANSWER INSTALLED

Exits with 0 when all were asked about and none is named, 1 when some are named, 3 when that is not known.
"""

from __future__ import annotations

import json
import re
import sys
from pathlib import Path


def plain(name: str) -> str:
    """The name as the index knows it."""
    return re.sub(r"[-_.]+", "-", name).lower()


def named(answer: Path, installed: dict[str, str]) -> list[str] | None:
    """What pip-audit was told; None when a package was not answered for."""
    if not answer.exists():
        return None
    about = {plain(d["name"]): d for d in json.loads(answer.read_text("utf-8"))["dependencies"]}
    found = [f"{n} {v}: {x['id']}" for n, v in installed.items() for x in about.get(n, {}).get("vulns", [])]
    silent = [n for n in installed if "vulns" not in about.get(n, {})]
    return found or (None if silent else [])


def main(service: str, answer: str, listed: str) -> int:
    """Print what is said and by whom."""
    pairs = (line.strip().partition("==") for line in Path(listed).read_text("utf-8").splitlines())
    installed = {plain(n): v for n, _, v in pairs}
    found = named(Path(answer), installed)
    for text in found or ():
        print(text)
    said = "no answer for some or all" if found is None else f"{len(found)} known vulnerabilities"
    print(f"{service}: {len(installed)} packages, {said}")
    return 3 if found is None else bool(found)


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
