"""A review of packs as text, as JSON, and as SARIF 2.1.0 for whatever shows findings in place."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import PurePath
from typing import Any
from urllib.parse import quote

from ..diagnostics.codes import CODES
from ..diagnostics.message import Culprit, Message
from ..review.check import LEVELS, Review
from .messages import message_text
from .plain import Page, as_json, clean
from .words import STRENGTH, several

SARIF = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"
VERSION = 1


def findings_text(review: Review, page: Page, *, accepted: bool = False) -> str:
    """Every finding with its places, then a count; `accepted` also lists what the packs excuse, and why."""
    lines = {file: list(text) for file, text in review.lines.items()}
    parts = [message_text(m, lines, page) for m in review.findings]
    for message, acceptance in review.accepted if accepted else ():
        what = page.wrap(message.text, first=f"{message.code} accepted: ", hang=4)
        parts.append(
            f"{what}\n{page.wrap(f'{acceptance.reason} ({acceptance.span})', first='   = ', hang=5)}"
        )
    parts += _overrides(review, page)
    parts.append(page.wrap(_count(review)))
    return "\n\n".join(parts) + "\n"


def _overrides(review: Review, page: Page) -> Iterator[str]:
    """What packs take from the packs below them. It is no finding, and must not go unread either."""
    overridden = review.program.overridden if review.program else {}
    if not overridden or review.program is None:
        return
    told = []
    for id_, rule in overridden.items():
        former = review.program.former[id_]
        asked = ", ".join(s for e in former.then for s in (e.subjects if e.verb != "severity" else ()))
        raised = ", ".join(f"severity {s}" for e in former.then if e.verb == "severity" for s in e.subjects)
        what = f"`{id_}` {former.title} ({STRENGTH.get(former.strength, 'as strong as what it rests on')}: {', '.join(filter(None, (asked, raised)))})"
        how = "withdrawn by" if rule.withdraws else "replaced by"
        told.append(page.wrap(f"{what}: {how} `{rule.id}` of {rule.pack}", first="  ", hang=4))
    head = "Taken from lower packs; what that does to plans is said by `pack try`, `pack promise` and `pack effect`:"
    yield "\n".join([page.wrap(head), *told])


def _count(review: Review) -> str:
    counts = Counter(m.level for m in review.findings)
    words = [several(counts[level], level) for level in LEVELS if counts[level]]
    rules = len(review.program.rules) if review.program else 0
    looked = f"{several(rules, 'rule')} compared" if review.program else "no rule compared"
    return f"{looked}: {', '.join(words) or 'no finding'}; {len(review.accepted)} accepted with a reason"


def findings_json(review: Review) -> str:
    """All findings as data; same packs, same bytes."""
    data = {
        "version": VERSION,
        "complete": review.program is not None,
        "packs": [{"name": p.name, "version": p.version, "sha256": p.sha256} for p in _packs(review)],
        "findings": [_data(m) for m in review.findings],
        "overridden": [
            {
                "rule": id_,
                "by": r.id,
                "pack": r.pack,
                "withdrawn": bool(r.withdraws),
                "at": r.target._asdict(),
            }
            for id_, r in (review.program.overridden.items() if review.program else ())
        ],
        "accepted": [
            {**_data(m), "reason": a.reason, "accepted_at": str(a.span)} for m, a in review.accepted
        ],
    }
    return as_json(data)


def _packs(review: Review) -> Sequence[Any]:
    return review.program.packs if review.program else ()


def _data(message: Message) -> dict[str, Any]:
    return {
        "code": message.code,
        "level": message.level,
        "text": message.text,
        "nearest": message.nearest,
        "next_step": message.next_step,
        "at": [{**c.span._asdict(), "label": c.label} for c in message.culprits if c.span.file],
    }


def findings_sarif(review: Review, version: str) -> str:
    """A SARIF log of one run; accepted findings are in it as suppressed, with their reason."""
    every = [*review.findings, *(m for m, _ in review.accepted)]
    codes = sorted({m.code for m in every})
    results = [_result(m, codes) for m in review.findings]
    for message, acceptance in review.accepted:
        place = _location(Culprit(acceptance.span))
        why = {
            "kind": "inSource",
            "status": "accepted",
            "justification": clean(acceptance.reason),
            "location": place,
        }
        results.append({**_result(message, codes), "suppressions": [why]})
    if review.accepted:  # the standard: where one result speaks of suppressions, all do
        results = [{"suppressions": [], **r} for r in results]
    driver = {"name": "knockon", "semanticVersion": version, "rules": [_rule(c) for c in codes]}
    run = {"tool": {"driver": driver}, "columnKind": "unicodeCodePoints", "results": results}
    log = {"$schema": SARIF, "version": "2.1.0", "runs": [run]}
    return as_json(log)


def _rule(code: str) -> dict[str, Any]:
    known = CODES[code]
    return {
        "id": code,
        "shortDescription": {"text": known.title},
        "fullDescription": {"text": known.means},
        "help": {"text": known.to_do},
    }


def _result(message: Message, codes: Sequence[str]) -> dict[str, Any]:
    placed = [c for c in message.culprits if c.span.file]
    hint = f" Did you mean `{message.nearest}`?" if message.nearest else ""
    step = f" Next: {message.next_step}." if message.next_step else ""
    result: dict[str, Any] = {
        "ruleId": message.code,
        "ruleIndex": codes.index(message.code),
        "level": message.level,
        "message": {"text": clean(f"{message.text}.{hint}{step}")},
        "locations": [_location(c) for c in placed[:1]],
    }
    if placed[1:]:
        result["relatedLocations"] = [{"id": i, **_location(c)} for i, c in enumerate(placed[1:], 1)]
    return result


def _location(culprit: Culprit) -> dict[str, Any]:
    span = culprit.span
    region = {
        "startLine": span.line,
        "startColumn": span.column,
        "endColumn": span.column + max(1, span.length),
    }
    place: dict[str, Any] = {
        "physicalLocation": {"artifactLocation": {"uri": _uri(span.file)}, "region": region}
    }
    return place | ({"message": {"text": clean(culprit.label)}} if culprit.label else {})


def _uri(file: str) -> str:
    """A path as a URI reference: absolute paths as file URIs, others relative to where the check ran."""
    path = PurePath(file)
    return path.as_uri() if path.is_absolute() else quote(path.as_posix())
