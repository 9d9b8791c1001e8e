"""Random but plausible cases as JSON Lines, the same for the same seed: what the benchmarks run on.

    python tests/benchmarks/cases.py 5000 --seed 7 > cases.jsonl

Invented data, for measuring only: shares of events, answers and equipment are guesses, not statistics.
"""

from __future__ import annotations

import argparse
import json
import random
import sys
from collections.abc import Iterator
from typing import Any

from knockon.engine.diagnostics.message import InputError, Messages
from knockon.engine.load.cache import built_in_folders
from knockon.engine.load.case import build_case
from knockon.engine.load.pack import load_program
from knockon.engine.load.tree import Tree
from knockon.engine.model.catalogue import FactSpec
from knockon.engine.model.program import Program

EVENTS = {
    "collision": 70,
    "curb": 6,
    "animal": 4,
    "road_debris": 3,
    "hail": 4,
    "glass_only": 5,
    "vandalism": 2,
}
EVENTS |= {"theft": 2, "flood": 2, "fire": 1, "none": 1}
ZONES = {
    "front": ["fl", "fc", "fr"],
    "rear": ["bl", "bc", "br"],
    "left": ["lf", "lm", "lq"],
    "right": ["rf", "rm", "rq"],
    "top": ["rt"],
    "under": ["uf", "um", "ub"],
}
BLOWS = ("collision", "curb", "animal", "road_debris", "theft")
ALWAYS_TOLD = ("event_type", "area", "zone", "impact_speed", "vehicle_state")


def generate(program: Program, count: int, seed: int) -> Iterator[dict[str, Any]]:
    """Case documents that the program accepts; a drawing it refuses is drawn again."""
    for number in range(count):
        draw = random.Random(f"{seed}/{number}")
        while True:
            document = _case(program, draw, f"bench-{number:07d}")
            try:
                build_case(Tree("drawn", document), program, Messages())
            except InputError:
                continue
            yield document
            break


def _case(program: Program, draw: random.Random, id_: str) -> dict[str, Any]:
    event = draw.choices(list(EVENTS), EVENTS.values())[0]
    areas = draw.sample(sorted(ZONES), draw.choice((1, 1, 1, 2))) if event in BLOWS else []
    zones = sorted({draw.choice(ZONES[area]) for area in areas for _ in range(2)})
    case: dict[str, Any] = {"case": id_, "date": f"2026-{draw.randint(1, 12):02d}-{draw.randint(1, 28):02d}"}
    case["vehicle"] = {"name": "invented", "market": draw.choice(("us", "us", "un", "other"))}
    case["vehicle"]["model_year"] = draw.randint(2012, 2026)
    case["fitted"] = _fitted(program, draw)
    case["intake"] = {"event_type": event, "area": sorted(areas), "zone": zones}
    if event in BLOWS:
        case["intake"]["impact_speed"] = draw.choice(("tap", "low", "low", "medium", "medium", "high"))
        case["intake"]["vehicle_state"] = draw.choice(
            ("driven", "driven", "stopped_attended", "parked_unattended")
        )
    _answers(program, draw, case, "intake", 0.5)
    if draw.random() < 0.6:
        case["scan"] = {"scan_pre_state": "done"}
        _answers(program, draw, case, "scan", 0.4)
    if draw.random() < 0.5:
        _answers(program, draw, case, "lookup", 0.5)
    if areas:
        case["parts"] = _parts(program, draw, zones)
    if draw.random() < 0.5:
        case["teardown"] = {"parts_final": "yes"}
        _answers(program, draw, case, "teardown", 0.5)
    if draw.random() < 0.3:
        case["log"] = _log(program, draw)
    return case


def _fitted(program: Program, draw: random.Random) -> dict[str, Any]:
    level = draw.choice((0.35, 0.55, 0.8))
    yes = [s.id for s in program.systems.values() if not s.universal and draw.random() < level]
    rest: list[str] | str = "all_others" if draw.random() < 0.6 else []
    return {"yes": yes, "no": rest}


def _answers(program: Program, draw: random.Random, case: dict[str, Any], section: str, share: float) -> None:
    """Most facts that are told at all turn out to be as on a sound vehicle."""
    answers = case.setdefault(section, {})
    told = {fact for name in ("intake", "scan", "lookup", "teardown") for fact in case.get(name, {})}
    for spec in program.facts.values():
        if spec.id in ALWAYS_TOLD or spec.id in told or section not in spec.sections or draw.random() > share:
            continue
        value = _odd(program, spec, draw) if draw.random() < 0.12 else _clear(spec)
        if value is not None:
            answers[spec.id] = value


def _clear(spec: FactSpec) -> Any:
    if spec.type == "set":
        return sorted(map(str, spec.clear))
    return str(spec.clear[0]) if spec.clear and spec.type == "choice" else None


def _odd(program: Program, spec: FactSpec, draw: random.Random) -> Any:
    if spec.type == "number":
        least, most = spec.between or (0, 40)
        return f"{draw.randint(int(least), int(min(most, least + 400)))} {spec.unit}".rstrip()
    if spec.type == "date":
        return f"{draw.randint(2012, 2026)}-06-01"
    values = sorted(program.systems if "*" in spec.values else spec.values)
    return [draw.choice(values)] if spec.type == "set" else draw.choice(values)


def _parts(program: Program, draw: random.Random, zones: list[str]) -> list[dict[str, Any]]:
    near = [p for p in program.parts.values() if set(p.zones) & set(zones)]
    found = []
    for part in draw.sample(near, min(len(near), draw.randint(1, 9))):
        entry: dict[str, Any] = {"part": part.id}
        if len(part.places) > 1:
            entry["side"] = draw.choice(("left", "right"))
        if draw.random() < 0.85:
            entry["actions"] = draw.choice(
                (["rr"], ["ri"], ["ri", "refinish"], ["repair", "refinish"], ["rr", "refinish"])
            )
        if draw.random() < 0.6:
            entry["damage"] = draw.choice(("cosmetic", "deformed", "displaced", "broken"))
        found.append(entry)
    return found


def _log(program: Program, draw: random.Random) -> list[dict[str, Any]]:
    whole = [o.id for o in program.operations.values() if o.per == "vehicle"]
    found = []
    for day in range(1, draw.randint(2, 5)):
        entry = {"at": f"2026-12-{day:02d}T10:00"}
        if draw.random() < 0.75:
            entry |= {"did": draw.choice(whole), "result": draw.choice(("pass", "pass", "pass", "fail"))}
        else:
            entry["event"] = draw.choice(sorted(program.events))
        found.append(entry)
    return found


def main() -> None:
    """Write cases to stdout."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0] if __doc__ else "")
    parser.add_argument("count", type=int)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    for document in generate(load_program(built_in_folders()), given.count, given.seed):
        sys.stdout.write(json.dumps(document, separators=(",", ":")) + "\n")


if __name__ == "__main__":
    main()
