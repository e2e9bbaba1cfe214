"""Whether the reason that a row gives for a switching can be one."""

from __future__ import annotations

from collections.abc import Iterator

from fermd.control.reasons import Rule
from fermd.control.settings import Duty
from fermd.control.slow_drift import TRUE_WITHIN_C
from fermd.review.reading_replay import ReadingReplay
from fermd.review.violation import Row

STARTS = {
    Duty.COOL: {Rule.ABOVE_BAND, Rule.CALL_CONTINUES, Rule.OVERRIDE, Rule.FAIL_SAFE_CYCLE},
    Duty.HEAT: {Rule.BELOW_BAND, Rule.CALL_CONTINUES, Rule.OVERRIDE, Rule.FAIL_SAFE_CYCLE},
    Duty.FAN: {Rule.FOLLOWS_CALL, Rule.RUN_ON, Rule.OVERRIDE},
}
"""What can start an output: something that calls for it."""

AT_ONCE = {
    Rule.LONGEST_RUN,
    Rule.AIR_LIMIT,
    Rule.AIR_UNKNOWN,
    Rule.FREEZING,
    Rule.NO_EFFECT,
    Rule.FAIL_SAFE,
    Rule.STOPPING,
    Rule.LEASE_EXPIRED,
    Rule.RELAY_FAULT,
    Rule.UNCLEAN_STOP,
}
"""What ends a run whether or not it has run for its minimum."""

ENDS = AT_ONCE | {
    Rule.WITHIN_BAND,
    Rule.COASTS,
    Rule.OPPOSITE_CALLED,
    Rule.NO_TARGET,
    Rule.OVERRIDE,
    Rule.FAIL_SAFE_CYCLE,
    Rule.FOLLOWS_CALL,
}
"""What can end a run."""

_OF_THE_BEER = {Rule.ABOVE_BAND, Rule.BELOW_BAND, Rule.CALL_CONTINUES, Rule.WITHIN_BAND}
_OF_THE_BEER |= {Rule.FREEZING, Rule.COASTS}

_STEADIED = {Rule.ABOVE_BAND, Rule.BELOW_BAND, Rule.CALL_CONTINUES}

ROUNDING_C = 0.001


def objections(row: Row, duty: Duty, readings: ReadingReplay) -> Iterator[tuple[str, str]]:
    """Yield what is wrong with a row's reason: the promise, and what it says."""
    rule, on = row["reason_rule"], bool(row["is_on"])
    if not rule:
        yield "every change has a reason", row["output"]
        return
    allowed = STARTS[duty] if on else ENDS
    if rule not in allowed:
        yield "the reason fits the change", f"{row['output']} {'on' if on else 'off'}: {rule}"
    value_c, limit_c = row["reason_value_c"], row["reason_limit_c"]
    if rule in _OF_THE_BEER:
        yield from _was_read(row, readings)
    if value_c is not None and limit_c is not None and not _is_so(rule, duty, value_c, limit_c):
        yield "the reason holds", f"{rule} with {value_c:.2f} °C against {limit_c:.2f} °C"


def _was_read(row: Row, readings: ReadingReplay) -> Iterator[tuple[str, str]]:
    """A call made of nothing is no call: its temperature is among the newest readings.

    That of slow beer is steadied, which takes it from them by no more than their noise.
    """
    rule = row["reason_rule"]
    value_c, newest_c = row["reason_value_c"], readings.vessel.newest_c
    if value_c is None:
        yield "the reason holds", f"{rule} without a temperature"
    elif readings.are_at_hand(row["t_s"]):
        room_c = ROUNDING_C + (TRUE_WITHIN_C if rule in _STEADIED else 0.0)
        lowest_c, highest_c = min(newest_c) - room_c, max(newest_c) + room_c
        if not lowest_c <= value_c <= highest_c:
            yield "the reason's temperature was read", f"{value_c:.2f} °C was not"


def _is_so(rule: str, duty: Duty, value_c: float, limit_c: float) -> bool:
    match rule:
        case Rule.ABOVE_BAND:
            return value_c >= limit_c
        case Rule.BELOW_BAND:
            return value_c <= limit_c
        case Rule.CALL_CONTINUES:
            return value_c > limit_c if duty is Duty.COOL else value_c < limit_c
        case Rule.FREEZING:
            return value_c <= limit_c
        case Rule.COASTS:
            # Beer goes on the way that its output sent it.
            return duty is Duty.FAN or (value_c < limit_c) is (duty is Duty.HEAT)
        case Rule.AIR_LIMIT:
            return value_c <= limit_c if duty is Duty.COOL else value_c >= limit_c
        case _:
            return True
