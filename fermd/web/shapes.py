"""What good answers look like: for the interface's description, and the tests that hold them to it.

Temperatures are °C, spans seconds (`_s`), instants seconds since 1970 (`_utc_s`).
"""

from __future__ import annotations

from typing import Any, Literal

from pydantic import BaseModel, ConfigDict


class Answer(BaseModel):
    """An answer. A later version may add to it, and takes nothing away."""

    # Built when it is first asked for: only the description needs these.
    model_config = ConfigDict(extra="allow", defer_build=True)


class Fault(Answer):
    """One field at fault."""

    key: str
    """Dotted path, entries of an array counted from 1: `step[2].target_c`; empty for the whole."""
    line: int | None
    """The line of a profile's text, from 1."""
    value: str | None
    why: str
    """What is allowed and what to do."""


class Refusal(Answer):
    """A request that was not carried out."""

    taken: Literal[False]
    why: str
    faults: list[Fault] = []


class Target(Answer):
    """What the beer should be: heated up to the one, cooled down to the other."""

    heat_c: float
    cool_c: float


class Reading(Answer):
    """A reading with its quality: without trust there is no temperature of now."""

    trusted: bool
    temp_c: float | None
    last_temp_c: float | None = None
    age_s: float | None
    fault: str | None
    words: str


class Reason(Answer):
    """Why something is as it is."""

    rule: str
    value_c: float | None
    limit_c: float | None
    left_s: float | None
    """How long it still holds, if that is known."""
    number: float | None
    words: str


class Output(Answer):
    """One output."""

    duty: Literal["heat", "cool", "fan"]
    name: str
    line: str
    on: bool
    wanted: bool
    """What is called for; differs from `on` while protection holds it."""
    for_s: float | None
    reasons: list[Reason]
    words: str


class NextStep(Answer):
    """The step after the present one."""

    kind: str
    name: str


class ProfileNow(Answer):
    """Where the profile stands."""

    name: str
    step: int
    """From 1."""
    steps: int
    kind: str
    step_name: str
    elapsed_s: float
    remaining_s: float | None
    planned_s: float | None
    later_s: float
    prompt: str
    next: NextStep | None


class PlannedStart(Answer):
    """A start that waits for its time."""

    profile: str
    at_utc_s: float
    who: str


class Alarm(Answer):
    """An alarm that is not cleared."""

    alarm: str
    subject: str
    phase: Literal["raised", "acknowledged", "cleared"]
    severity: Literal["notice", "warning", "critical"]
    holds: bool
    for_s: float | None
    value: float | None
    limit: float | None
    words: str


class Edges(Answer):
    """Where calls begin and end now, with all that was learned; °C as the vessel probe reads."""

    heat_from_c: float
    """A call for heat begins at or below it ..."""
    heat_until_c: float
    """... and ends at or above this one."""
    cool_from_c: float
    """A call for cooling begins at or above it ..."""
    cool_until_c: float
    """... and ends at or below this one."""


class Chamber(Answer):
    """One chamber as it stands."""

    mode: Literal["off", "hand", "profile", "paused"]
    mode_words: str
    target: Target | None
    target_words: str
    edges: Edges | None
    """None while no band decides: without a target, or without a trusted reading."""
    vessel: Reading
    air: Reading | None
    watching: dict[str, Reading]
    call: Literal["heat", "cool", "idle"]
    call_reason: Reason
    call_words: str
    outputs: list[Output]
    profile: ProfileNow | None
    planned_start: PlannedStart | None
    alarms: list[Alarm]


class JournalTrouble(Answer):
    """What is wrong with the journal."""

    kind: str
    detail: str


class Status(Answer):
    """The whole site."""

    age_s: float
    tick: int
    up_s: float
    wall_utc_s: float
    clock_is_set: bool
    journal: JournalTrouble | None
    alarms: list[Alarm]
    chambers: dict[str, Chamber]
    time_zone: str
    sample_period_s: float | None
    """How often there is a tick, s, by the site's own clock ..."""
    times_real_time: float
    """... which runs so many times faster than the world's in a trial without a board."""


class Probe(Reading):
    """A probe with its health."""

    chamber: str
    probe: str
    samples: int
    bad_share: float
    faults: dict[str, int]


class Event(Answer):
    """One thing that happened."""

    seq: int
    wall_utc_s: float
    wall_trusted: bool
    chamber: str
    kind: str
    words: str


class Undo(Answer):
    """How a command is undone."""

    words: str
    command: dict[str, Any]
    """What to send to the same address."""


class Taken(Answer):
    """A request that was carried out."""

    taken: Literal[True]
    undo: Undo | None = None
    """None: it cannot be undone."""


class ProfileListed(Answer):
    """A profile in the list."""

    name: str
    title: str
    description: str
    own: bool
    """The brewer's; else it comes with fermd."""
    steps: int
    lasts_s: float | None
    """By plan, up to what has no end; what the beer or a person takes comes on top."""
    lasts_is_sure: bool
    faults: list[Fault]


class ProfileText(Answer):
    """A profile with its text."""

    name: str
    title: str
    description: str
    own: bool
    toml: str
    steps: list[dict[str, Any]]
    """Each step's kind and numbers; spans in seconds."""
    faults: list[Fault]


class StepPlanned(Answer):
    """A step on the calendar."""

    step: int
    kind: str
    name: str
    begins: str
    begins_utc_s: float
    begins_is_sure: bool
    ends: str | None
    ends_utc_s: float | None
    ends_is_sure: bool
    target: list[dict[str, float]]
    """Corners of the target's line: utc_s, heat_c, cool_c."""
    note: str


class CautionTold(Answer):
    """What to beware of."""

    rule: str
    step: int | None
    numbers: dict[str, float]
    text: str


class Previewed(Answer):
    """A profile on the calendar."""

    profile: str
    chamber: str
    time_zone: str
    start_utc_s: float
    start_c: float
    lasts_s: float
    lasts_is_sure: bool
    end: str
    steps: list[StepPlanned]
    clock_changes: list[dict[str, str]]
    cautions: list[CautionTold]
    assumed: list[str]
    beer: list[tuple[float, float]]
    """Where the beer is foreseen to be (POSIX s, °C); empty in a check, and where that cannot be
    foreseen."""


class ProfileChecked(Answer):
    """What is wrong with a profile; its plan if nothing is."""

    ok: bool
    faults: list[Fault]
    plan: Previewed | None


class Saved(Answer):
    """A profile that was saved or taken away."""

    taken: Literal[True]
    name: str
    before: str | None
    """The text that was there before: saving it again undoes this."""
