"""How many inputs the fuzz tests try: a few in every run, `KNOCKON_FUZZ` times as many when asked."""

from __future__ import annotations

import os

from hypothesis import HealthCheck, settings

TIMES = int(os.environ.get("KNOCKON_FUZZ", "1"))
LENIENT = [HealthCheck.function_scoped_fixture, HealthCheck.too_slow, HealthCheck.filter_too_much]


def examples(count: int) -> settings:
    """Settings for a test that tries `count` inputs in an ordinary run."""
    return settings(max_examples=count * TIMES, deadline=None, suppress_health_check=LENIENT)
