"""A small plan with one of everything a page can show, and a way to replace every text. All data invented."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from knockon.engine.model.handover import Documented, Handover, Missing
from knockon.engine.model.plan import (
    Considered,
    FactSeen,
    Hold,
    Line,
    Notice,
    Override,
    Plan,
    ProcedureSeen,
    Question,
    ReadingSeen,
    ResultSeen,
    SourceSeen,
    Support,
)
from knockon.engine.model.program import Labour, PackId
from knockon.engine.model.record import field_names, is_dataclass, replace
from knockon.engine.model.span import Span
from knockon.engine.model.supplement import Change, FactChange, PackChange, RuleChange, Supplement

AT = Span("some folder/case.yaml", 7, 3)
SOURCE = SourceSeen("rulebook", "The rulebook (third edition)", "section 4", "regulation", True)
PACK = PackId("base", "1.2.0", "ab" * 32, "the base pack", "2026-01-01", "rules/base")
SUPPORT = Support(
    "R900",
    "base",
    "A part that carries the sensor was moved",
    "A moved part takes the sensor with it.",
    "Look up the method.",
    "required",
    (SOURCE,),
    (
        FactSeen("touched.fender_front.front_left", "front fender", "replaced", "observed", AT, "parts list"),
        FactSeen("derived.d_jolt", "the body took a jolt", "yes", "derived", AT),
        FactSeen("under_strike", "strike on the underside", "yes", "assumed", Span("", 0, 0)),
    ),
    at=AT,
)
READING = ReadingSeen(
    "empty reading",
    -1.5,
    1.0,
    12,
    "kg",
    -3.0,
    3.0,
    "seat manual 3",
    "within",
    "it lies within",
    "record it",
    earlier_low=-0.5,
    earlier_high=0.5,
    uncertainty=0.25,
)
VOIDED = ResultSeen(
    "2026-01-02T09:00", "pass", "A. Person", "first try", (READING,), ("seen",), "seat out", "2026-01-03"
)
FAILED = ResultSeen("2026-01-04T09:00", "fail", "B. Person", "", (READING,), ())
LINE = Line(
    id="seat_check",
    operation="seat_check",
    target="seat sensor",
    place="",
    title="seat sensor check",
    kind="sensitivity check",
    phase="calibrate",
    strength="required",
    standing="firm",
    firm_as="required",
    progress="open",
    because=(SUPPORT,),
    holds=(),
    after=(),
    needs=("level_floor",),
    record=({"name": "empty reading", "unit": "kg", "limit": "procedure"},),
    cautions=("restraints",),
    procedure=ProcedureSeen("Seat manual", "3", "2026-01-02", "required"),
    waits_for=(),
    results=(),
    labour=Labour("mechanical", 0.5, True),
)
_of = replace
LINES = (
    _of(LINE, id="scan_pre", operation="scan_pre", title="first scan", phase="intake", progress="passed"),
    _of(LINE, id="aim.left", operation="aim", place="left", title="aim", phase="align", after=("scan_pre",)),
    _of(
        LINE,
        id="aim.right",
        operation="aim",
        place="right",
        title="aim",
        phase="align",
        progress="held",
        holds=(Hold("rule", "R901", "the floor is not level"),),
        after=("scan_pre",),
    ),
    _of(LINE, progress="failed", results=(VOIDED, FAILED), after=("aim.left", "aim.right")),
    _of(
        LINE,
        id="look",
        operation="look",
        title="look behind the cover",
        progress="void",
        standing="provisional",
        firm_as="check_whether",
        strength="unless_procedure",
        waits_for=("under_strike", "fitted.lidar"),
        void_because="2026-01-03: seat out",
        results=(VOIDED,),
    ),
    _of(
        LINE,
        id="waived",
        operation="waived",
        title="body measurement",
        progress="waived",
        because=(),
        waiver="2026-01-03, A. Person: not asked for",
        strength="check_whether",
        procedure=None,
        labour=None,
    ),
    _of(
        LINE,
        id="maybe",
        operation="maybe",
        title="only perhaps",
        standing="possible",
        firm_as="",
        waits_for=("under_strike",),
    ),
)


def _part(part: str, title: str, place: str, kind: str, word: str) -> dict[str, Any]:
    return {"part": part, "title": title, "place": place, "kind": kind, "words": [word]}


PICTURE: dict[str, Any] = {
    "clock": ["11"],
    "area": ["front"],
    "zones": ["fl", "rm", "own_zone"],
    "parts": [
        {
            "part": "fender_front",
            "title": "front fender",
            "place": "front_left",
            "kind": "touched",
            "words": ["rr"],
        },
        {
            "part": "fender_front",
            "title": "front fender",
            "place": "front_left",
            "kind": "damaged",
            "words": ["bent"],
        },
        {
            "part": "quarter_panel",
            "title": "quarter panel",
            "place": "rear_right",
            "kind": "touched",
            "words": ["repair"],
        },
    ],
    "sensors": [
        {"system": "radar_corner_front", "title": "front corner radar", "area": "front_assist"},
        {"system": "own_system", "title": "a system of a shop's pack", "area": "comfort"},
    ],
}
LOG = (
    {
        "at": "2026-01-02T09:00",
        "kind": "done",
        "what": "seat_check",
        "title": "seat sensor check",
        "result": "pass",
        "by": "A. Person",
        "note": "first try",
        "undoes": "",
    },
    {
        "at": "2026-01-03",
        "kind": "event",
        "what": "ev_seat_out",
        "title": "seat out",
        "result": "",
        "by": "",
        "note": "carpet",
        "undoes": "seat_check, look",
    },
    {
        "at": "2026-01-03",
        "kind": "waived",
        "what": "waived",
        "title": "body measurement",
        "result": "",
        "by": "A. Person",
        "note": "not asked for",
        "undoes": "",
    },
    {
        "at": "2026-01-04T09:00",
        "kind": "done",
        "what": "seat_check",
        "title": "seat sensor check",
        "result": "fail",
        "by": "B. Person",
        "note": "",
        "undoes": "",
    },
)
PLAN = Plan(
    case="case 12",
    date="2026-01-05",
    vehicle={"name": "a blue van", "vin": "", "model_year": 2024, "market": "other"},
    knockon="0.1.0",
    packs=(PACK,),
    engines=("rules engine", "independent check"),
    severity=2,
    severity_because=(SUPPORT,),
    severity_certain=2,
    lines=LINES,
    questions=(
        Question(
            "under_strike",
            "Did the underside touch anything?",
            ("estimator", "lookup"),
            {"yes": "yes, it did"},
            "look on the lift",
            ("maybe",),
            (),
            ("look",),
            (),
            {"yes": {"adds": ("maybe",), "drops": (), "firms": ("look",)}, "no": {}},
        ),
    ),
    cautions={"restraints": "Restraints: keep out of the path."},
    preconditions={"level_floor": "a level floor"},
    considered=(
        Considered("system", "lidar", "lidar", "its host was moved", ("R902",)),
        Considered("dropped", "old", "old line", "the procedure says no", ("R903",)),
    ),
    notices=(Notice("order", "aim comes after a check that was not done yet", ("aim.left",), (AT,)),),
    overrides=(Override("R800", "M001", "maker", "replaced", "the maker asks for more", (SOURCE,)),),
    log=LOG,
    picture=PICTURE,
    file="some folder/case.yaml",
)
CHANGES = (
    Change(
        "added",
        LINES[3],
        "",
        "required",
        "",
        "firm",
        (SUPPORT,),
        (FactChange("under_strike", "strike on the underside", "not known", "yes", AT, "teardown"),),
        (RuleChange("R900", "A part was moved", "new", "base 1.2.0"),),
    ),
    Change(
        "voided",
        LINES[4],
        "required",
        "required",
        "firm",
        "firm",
        (),
        (),
        (),
        "2026-01-03: seat out; to be done again",
    ),
)
SUPPLEMENT = Supplement(
    "case 12", "2026-01-05", "monday.yaml", "friday.yaml", (PackChange("base", None, PACK),), CHANGES
)
HANDOVER = Handover(
    "case 12",
    "2026-01-05",
    (
        Documented("scan_pre", "first scan", "passed", "2026-01-02, A. Person"),
        Documented("waived", "body measurement", "waived", "2026-01-03, A. Person: not asked for"),
    ),
    (
        Missing("failed", "seat_check", "seat sensor check", "its last result is a failure", "technician"),
        Missing(
            "question", "under_strike", "Did the underside touch anything?", "decides on look", "estimator"
        ),
        Missing("notice", "", "", "aim comes after a check", "technician"),
    ),
)
# Words the program itself writes: everything else may come from a case, a pack or a procedure.
FIXED = frozenset(
    (
        *(
            "place",
            "who",
            "clock",
            "zones",
            "phase",
            "strength",
            "standing",
            "firm_as",
            "progress",
            "kind",
            "origin",
        ),
        *(
            "how",
            "sha256",
            "date",
            "slot",
            "operation",
            "what",
            "undoes",
            "after",
            "waits_for",
            "adds",
            "drops",
        ),
        *("firms", "lines", "strength_before", "strength_after", "standing_before", "standing_after", "area"),
        *("system", "part", "severity"),
    )
)


def with_text(thing: Any, put: Callable[[str], str], name: str = "") -> Any:
    """The same thing with every text that somebody typed replaced; ids stay as they are."""
    if isinstance(thing, str):
        return thing if name in FIXED or not thing else put(thing)
    if isinstance(thing, Span):
        return thing._replace(file=put(thing.file)) if thing.file else thing
    if is_dataclass(thing) and not isinstance(thing, type):
        keep = {"id"} if isinstance(thing, Line) else set()
        fields = {name: getattr(thing, name) for name in field_names(thing)}
        return replace(thing, **{k: v if k in keep else with_text(v, put, k) for k, v in fields.items()})
    if isinstance(thing, Mapping):
        return {k: with_text(v, put, str(k)) for k, v in thing.items()}
    if isinstance(thing, tuple | list):
        return type(thing)(with_text(v, put, name) for v in thing)
    return thing
