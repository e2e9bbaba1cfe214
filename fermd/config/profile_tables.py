"""The keys of a profile: a name and its steps, each with the keys of its kind."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from operator import getitem
from types import GenericAlias
from typing import Annotated, Any, Final, Literal, Union, get_args

from annotated_types import MinLen
from pydantic import Field as FileKey
from pydantic import WithJsonSchema

from fermd.config.durations import DURATION, DURATION_PATTERN
from fermd.config.tables import Table, doc_of, table_of
from fermd.control.steps import Profile, Step, StepS

STEP_TYPES: Final[Mapping[str, type]] = {step.kind: step for step in get_args(Step)}

PLACEHOLDERS: Final[dict[str, object]] = {
    "name": "?",
    "kind": "hold",
    "target_c": 20.0,
    "to_c": 20.0,
    "rate_c_per_day": 1.0,
    "floor_c": 18.0,
    "ceiling_c": 20.0,
    "for": "1 d",
    "prompt": "?",
    "until": "18:00",
    "at": "18:00",
    "changes": [{"at": "18:00", "target_c": 20.0}],
    "step": [{"kind": "hold", "target_c": 20.0, "for": "1 d"}],
    "[]": {"kind": "hold", "target_c": 20.0, "for": "1 d"},
}
"""Stand-ins for required keys that are missing or bad, so that the rest can be checked too."""


@cache
def profile_table() -> type[Table]:
    """The whole profile."""
    kinds = tuple(_step_table(kind, step) for kind, step in STEP_TYPES.items())
    # Types that are only known here are put together with getitem: a type checker cannot follow.
    one_step: Any = getitem(Annotated, (getitem(Union, kinds), FileKey(discriminator="kind")))
    return table_of(
        Profile,
        without=("steps",),
        more={
            "step": (
                getitem(Annotated, (GenericAlias(list, (one_step,)), MinLen(1))),
                FileKey(description="The steps, one [[step]] each, in their order."),
            )
        },
    )


def _step_table(kind: str, step: type) -> type[Table]:
    renamed = {"for_s": "for"} if "for_s" in step.__annotations__ else {}
    more: dict[str, tuple[Any, Any]] = {
        "kind": (getitem(Literal, kind), FileKey(description=doc_of(step, renamed)))
    }
    if renamed:
        more["for"] = (
            Annotated[
                StepS,
                DURATION,
                WithJsonSchema({"type": "string", "pattern": DURATION_PATTERN}),
            ],
            FileKey(
                description="How long the step lasts.",
                examples=["14 d", "36 h", "1 d 12 h", "90 min"],
            ),
        )
    return table_of(step, without=("for_s",), renamed=renamed, more=more)
