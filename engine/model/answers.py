"""The words in which a case answers, beside those its packs define."""

from __future__ import annotations

DATE_FACT = "case_date"
ACTIONS = ("ri", "rr", "repair", "refinish", "section", "straighten")
DAMAGE = ("none", "cosmetic", "deformed", "displaced", "broken", "suspected")
HARMED = ("deformed", "displaced", "broken", "suspected")
METHODS = ("static", "dynamic", "both", "self_learn", "none")
VERDICTS = ("required", "conditional", "not_required", "not_found")
OUTCOMES = ("pass", "fail", "aborted")
