"""How much is tried: a part in every run, the whole in the long one, `KNOCKON_FUZZ` times as many inputs when asked."""

from __future__ import annotations

import os
from typing import Any

import pytest
from hypothesis import HealthCheck, settings

TIMES = int(os.environ.get("KNOCKON_FUZZ", "1"))
LENIENT = [HealthCheck.function_scoped_fixture, HealthCheck.too_slow, HealthCheck.filter_too_much]


def examples(count: int) -> settings:
    """Settings for a test that tries `count` inputs in an ordinary run."""
    return settings(max_examples=count * TIMES, deadline=None, suppress_health_check=LENIENT)


def blocks(short: int, whole: int) -> pytest.MarkDecorator:
    """`block` for a test made of so many parts alike: the first few in every run, the others in the long one."""
    others: list[Any] = [pytest.param(n, marks=pytest.mark.long) for n in range(short, whole)]
    return pytest.mark.parametrize("block", [*range(short), *others])
