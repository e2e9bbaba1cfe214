"""A plan that cannot be worked out."""

from __future__ import annotations


class PlanError(ValueError):
    """What is wrong with the plan, what is allowed and what to do, in one sentence."""
