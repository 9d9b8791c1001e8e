"""The words in which a case answers, beside those its packs define."""

from __future__ import annotations

DATE_FACT = "case_date"
ACTION_WORDS = {
    "ri": "removed and refitted",
    "rr": "replaced",
    "repair": "repaired",
    "refinish": "refinished",
    "section": "sectioned",
    "straighten": "straightened",
}
ACTIONS = tuple(ACTION_WORDS)
DAMAGE = ("none", "cosmetic", "deformed", "displaced", "broken", "suspected")
HARMED = ("deformed", "displaced", "broken", "suspected")
METHODS = ("static", "dynamic", "both", "self_learn", "none")
VERDICTS = ("required", "conditional", "not_required", "not_found")
OUTCOMES = ("pass", "fail", "aborted")
