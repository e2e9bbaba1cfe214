"""What of a chamber's state outlives the process, as plain values that JSON can hold.

Remembered: the mode, the target set by hand, the profile with its steps and progress, what was
learned of the chamber, and which alarms are raised or acknowledged (one whose condition is gone by
then clears in its own time; a latched one still waits for a person). Not remembered, on purpose:
probe health (a probe must earn its trust again), overrides (nobody may be there any more), and
calls. The lines' histories are kept apart, because they belong to the lines and not to the chamber.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, fields, replace
from typing import Any

from fermd.control.alarms import Alarm, AlarmKind
from fermd.control.commands import PlanStart
from fermd.control.decision import Mode
from fermd.control.events import AlarmPhase
from fermd.control.placing import recalled, sums
from fermd.control.plain_profile import number, profile_from_plain, profile_to_plain, text
from fermd.control.progress import Progress
from fermd.control.settings import Duty
from fermd.control.state import ChamberState
from fermd.control.steps import Target
from fermd.control.swing import Learned, Swing

VERSION = 1
"""Raised when the shape below changes in a way that an older reader would misread."""


class ForgottenError(ValueError):
    """What was remembered cannot be understood; the text says what is wrong with it."""


def to_plain(state: ChamberState) -> dict[str, Any]:
    """Return what of a state must outlive the process."""
    hand, progress = state.hand, state.progress
    return {
        "version": VERSION,
        "mode": state.mode.value,
        "hand": None if hand is None else [hand.heat_c, hand.cool_c],
        "progress": None
        if progress is None
        else {
            "profile": profile_to_plain(progress.profile),
            "index": progress.index,
            "elapsed_s": round(progress.elapsed_s, 3),
            "entry_c": progress.entry_c,
            "extra_s": progress.extra_s,
            "reached": progress.reached,
            "due_utc_s": progress.due_utc_s,
            "from_utc_s": progress.from_utc_s,
            "scheduled_c": progress.scheduled_c,
            "plan": None if progress.plan is None else profile_to_plain(progress.plan),
        },
        "planned": None
        if state.planned is None
        else {
            "profile": profile_to_plain(state.planned.profile),
            "at_utc_s": state.planned.at_utc_s,
            "who": state.planned.who,
        },
        "learned": {duty.value: asdict(known) for duty, known in state.swing.learned.items()},
        "probe_fit": sums(state.placing),
        "ran_last": None if state.swing.last is None else state.swing.last.value,
        "acknowledged": [
            [alarm.kind.value, alarm.subject]
            for alarm in state.alarms
            if alarm.phase is AlarmPhase.ACKNOWLEDGED
        ],
        "raised": [
            [alarm.kind.value, alarm.subject]
            for alarm in state.alarms
            if alarm.phase is AlarmPhase.RAISED
        ],
    }


def from_plain(state: ChamberState, plain: Mapping[str, Any], mono_s: float) -> ChamberState:
    """Return a fresh state that goes on from what was remembered.

    Raises ForgottenError if it cannot be understood; the caller starts afresh, with an alarm.
    """
    try:
        return _from_plain(state, plain, mono_s)
    except (AttributeError, KeyError, OverflowError, TypeError, ValueError) as error:
        raise ForgottenError(
            f"what was remembered of the chamber is not readable: {error!r}"
        ) from error


def _from_plain(state: ChamberState, plain: Mapping[str, Any], mono_s: float) -> ChamberState:
    if plain["version"] != VERSION:
        raise ValueError(f"version {plain['version']}, known is {VERSION}")
    mode, hand, kept = Mode(plain["mode"]), plain["hand"], plain["progress"]
    if mode in (Mode.PROFILE, Mode.PAUSED) and kept is None:
        raise ValueError(f"mode {mode.value} without a profile")
    if mode in (Mode.HAND, Mode.PAUSED) and hand is None:
        raise ValueError(f"mode {mode.value} without a target")
    progress = None
    if kept is not None:
        profile = profile_from_plain(kept["profile"])
        index = int(kept["index"])
        if not 0 <= index < len(profile.steps):
            raise ValueError(f"step {index} of {len(profile.steps)}")
        progress = Progress(
            profile,
            index,
            number(kept["elapsed_s"]),
            number(kept["entry_c"]),
            number(kept["extra_s"]),
            bool(kept["reached"]),
            _instant_or_none(kept["due_utc_s"]),
            _instant_or_none(kept["from_utc_s"]),
            _number_or_none(kept["scheduled_c"]),
            plan=None if kept["plan"] is None else profile_from_plain(kept["plan"]),
        )
    planned = plain["planned"]
    alarms = [
        Alarm(
            AlarmKind(kind),
            text(subject),
            phase,
            holds=False,
            edge_mono_s=mono_s,
            raised_mono_s=mono_s,
        )
        for key, phase in (
            ("acknowledged", AlarmPhase.ACKNOWLEDGED),
            ("raised", AlarmPhase.RAISED),
        )
        for kind, subject in plain[key]
    ]
    return replace(
        state,
        mode=mode,
        hand=None if hand is None else _target(hand),
        progress=progress,
        swing=_swing(plain),
        placing=recalled([number(one) for one in plain.get("probe_fit", ())]),
        planned=None
        if planned is None
        else PlanStart(
            profile_from_plain(planned["profile"]),
            number(planned["at_utc_s"]),
            text(planned["who"]),
        ),
        alarms=tuple(alarms),
    )


def _swing(plain: Mapping[str, Any]) -> Swing:
    """Return what was learned; what was written before this was remembered has none of it.

    Numbers that cannot be are a memory that cannot be believed, of the target as well.
    """
    last = plain.get("ran_last")
    learned = {Duty(duty): _learned(known) for duty, known in plain.get("learned", {}).items()}
    return Swing(learned, None if last is None else Duty(last))


_EITHER_WAY = ("lag_c", "centre_c")


def _learned(plain: Mapping[str, Any]) -> Learned:
    given = {one.name: number(plain[one.name]) for one in fields(Learned)}
    for name, value in given.items():
        if value < 0 and name not in _EITHER_WAY:
            raise ValueError(f"{name} of {value}")
    return Learned(**given | {"runs": int(given["runs"])})  # type: ignore[arg-type]


def _target(plain: Sequence[Any]) -> Target:
    heat_c, cool_c = plain
    return Target(number(heat_c), number(cool_c))


def _number_or_none(value: object) -> float | None:
    return None if value is None else number(value)


def _instant_or_none(value: object) -> float | None:
    at_utc_s = _number_or_none(value)
    if at_utc_s is not None and at_utc_s < 0:
        raise ValueError(f"{at_utc_s} s is before 1970, where no calendar is looked into")
    return at_utc_s
