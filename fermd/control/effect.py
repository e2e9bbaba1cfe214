"""The watcher: whether an output that is on does anything.

It is not the controller and knows nothing of bands. It follows one run of one output: the
watched temperature may not move against the output by `wrong_way_c` (heating while it falls,
cooling while it rises) for `within_s` without progress. Progress renews the deadline: a new best
in the output's direction, a turn (it went the wrong way, and has come back by half of
`wrong_way_c`: what a lag at the start of a run looks like), or a driving difference (air clearly
colder than the beer while cooling, clearly warmer while heating), without which nothing flows and
with which something must.
So a weak fridge at the peak of fermentation, whose beer warms although its air is cold, is
not accused, and one that fails in the middle of a long run is found as surely as one that fails
at its start. A change of the target does not concern it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from fermd.control.reasons import Reason, Rule
from fermd.control.settings import Duty, EffectSettings


@dataclass(frozen=True, slots=True)
class Watch:
    """One run of one output as the watcher has seen it."""

    best_c: float
    """The furthest that the temperature has come in the output's direction, or where it turned
    to that direction, °C."""
    since_mono_s: float
    """When it came there: the deadline counts from here."""
    worst_c: float
    """The furthest that it has gone the wrong way since, °C."""


def watch(
    before: Watch | None,
    settings: EffectSettings,
    duty: Duty,
    on: bool,
    temp_c: float | None,
    mono_s: float,
    driving: bool = False,
) -> tuple[Watch | None, Reason | None]:
    """Follow a run for one tick; the reason says if the output was found to have no effect.

    `temp_c` is the watched temperature (°C, None if not known), `driving` whether there is a
    driving difference.
    """
    if not on or duty is Duty.FAN:
        return None, None
    if temp_c is None:
        return before, None
    if before is None or driving:
        return Watch(temp_c, mono_s, temp_c), None
    sign = 1.0 if duty is Duty.HEAT else -1.0
    moved_c = sign * (temp_c - before.best_c)
    turned_c = sign * (temp_c - before.worst_c)
    if moved_c > 0 or turned_c >= settings.wrong_way_c / 2:
        return Watch(temp_c, mono_s, temp_c), None
    if turned_c < 0:
        before = replace(before, worst_c=temp_c)
    waited_s = mono_s - before.since_mono_s
    if moved_c <= -settings.wrong_way_c and waited_s >= settings.within_s:
        return None, Reason(Rule.NO_EFFECT, temp_c, before.best_c, number=waited_s)
    return before, None
