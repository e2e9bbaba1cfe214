"""Hypothesis profiles: quick unless `HYPOTHESIS_PROFILE` says otherwise.

`nightly` takes its time; `mutants` is short and always the same, for tests run on mutated code.
"""

from __future__ import annotations

import os

from hypothesis import HealthCheck, settings

settings.register_profile(
    "quick",
    max_examples=120,
    stateful_step_count=25,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.register_profile(
    "mutants", settings.get_profile("quick"), max_examples=25, derandomize=True
)
settings.register_profile("nightly", settings.get_profile("quick"), max_examples=10_000)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "quick"))
