"""Protection: the last word between what is called for and what a relay does.

Theory of operation. Every output is in one of four phases, and everything that moves it is in
the table `NEXT` below. `LOCKED` and `HELD` are left by time alone, `READY` and `FREE` by a call.
Safety is never argued with: it takes an output off at once from any phase.

    locked   off, and may not start: minimum off time, start to start, starts per hour,
             power-up delay, changeover, rest, supply
    ready    off, and may start
    held     on, and may not stop yet: minimum run time
    free     on, and may stop

What the locks and the safeties are is in the small functions at the end, each of which returns
the reason why, or None. All times are on the boot clock. The history (when the output last
started and stopped) belongs to the electrical line, and what is not known of it counts as the
worst that could have been: stopped just now, after as many starts as are allowed, each as late
as is allowed. Whatever the true history was, each of its starts came no later than its like in
that worst one, so no sum of restarts can start a compressor too often.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum

from fermd.control.reasons import Reason, Rule
from fermd.control.settings import HOUR_S, OutputSettings, ProtectionSettings


class Phase(StrEnum):
    """Where an output stands."""

    LOCKED = "locked"
    READY = "ready"
    HELD = "held"
    FREE = "free"


class Wish(StrEnum):
    """What is asked of an output in a tick; the strongest that applies."""

    OFF = "off"
    ON = "on"
    SAFETY_OFF = "safety off"


NEXT: Mapping[tuple[Phase, Wish], bool] = {
    # (phase, wish): on?
    (Phase.LOCKED, Wish.OFF): False,
    (Phase.LOCKED, Wish.ON): False,
    (Phase.LOCKED, Wish.SAFETY_OFF): False,
    (Phase.READY, Wish.OFF): False,
    (Phase.READY, Wish.ON): True,
    (Phase.READY, Wish.SAFETY_OFF): False,
    (Phase.HELD, Wish.OFF): True,
    (Phase.HELD, Wish.ON): True,
    (Phase.HELD, Wish.SAFETY_OFF): False,
    (Phase.FREE, Wish.OFF): False,
    (Phase.FREE, Wish.ON): True,
    (Phase.FREE, Wish.SAFETY_OFF): False,
}
"""Whether the output is on after a tick in this phase with this wish. The phase itself follows
from the history and the time (`phase()`), so no history can be in a phase that contradicts it."""


@dataclass(frozen=True, slots=True)
class History:
    """What is remembered of one line. Times are on the boot clock, s."""

    on: bool = False
    started_mono_s: float | None = None
    """When it was last switched on; None if that is not known."""
    stopped_mono_s: float | None = None
    """When it was last switched off; None if that is not known."""
    starts_mono_s: tuple[float, ...] = ()
    """The starts of the last hour, oldest first."""
    unknown_until_mono_s: float | None = None
    """Until when it stays off because its past was not known."""
    rest_until_mono_s: float | None = None
    """Until when it rests, after its longest run or after it was found to have no effect."""


def unknown_history(protection: ProtectionSettings, mono_s: float) -> History:
    """Return the worst that could have been up to now."""
    apart_s = protection.minimum_off_s + protection.minimum_run_s
    # One at least: also without a limit on starts per hour a start follows the last one no sooner.
    starts = range(max(protection.starts_per_hour, 1) - 1, -1, -1)
    return History(
        stopped_mono_s=mono_s,
        starts_mono_s=tuple(mono_s - apart_s * start for start in starts),
        unknown_until_mono_s=mono_s + protection.power_up_delay_s,
    )


def history_after_restart(
    known: History | None, protection: ProtectionSettings, mono_s: float, *, proven: bool
) -> History:
    """Return the history that a new process goes on with.

    `known` is what the journal remembers of this line in the same boot. Only if `proven` (the
    process before ended by its own stop, so nothing happened after what it wrote) is it the
    truth; else the line may have been switched until this moment.
    """
    if known is not None and proven and not known.on and not _lies_ahead(known, mono_s):
        return known
    fresh = unknown_history(protection, mono_s)
    if known is None:
        return fresh
    if not _lies_ahead(known, mono_s):
        # Known starts count too: under settings that were looser then, they may have come closer
        # together than the worst that the present ones allow.
        counted = {at_s for at_s in known.starts_mono_s if mono_s - at_s < HOUR_S}
        # Those that are presumed may fall on one moment, and are as many nevertheless.
        presumed = fresh.starts_mono_s
        starts = sorted((*counted.difference(presumed), *presumed))
        fresh = replace(fresh, starts_mono_s=tuple(starts))
    if known.rest_until_mono_s is None:
        return fresh
    # A time of another boot may lie days ahead; no rest is longer than what is set for one.
    return replace(
        fresh, rest_until_mono_s=min(known.rest_until_mono_s, mono_s + protection.rest_s)
    )


def _lies_ahead(known: History, mono_s: float) -> bool:
    """Whether a past time is yet to come: then it was not written in this boot."""
    past = (*known.starts_mono_s, known.started_mono_s, known.stopped_mono_s)
    return any(at_s is not None and at_s > mono_s for at_s in past)


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What an output has to respect besides its own history."""

    safety: tuple[Reason, ...] = ()
    """Why it must be off at once."""
    other_on: bool = False
    """Whether the opposite output (heat for cooling, cooling for heat) is on."""
    other_stopped_mono_s: float | None = None
    """When the opposite output last stopped; None if it never has."""
    changeover_s: float = 0.0
    headroom_a: float | None = None
    """What its supply circuit has left, A; None if it hangs on no circuit with a limit."""


@dataclass(frozen=True, slots=True)
class Protected:
    """What protection made of a wish."""

    history: History
    on: bool
    reasons: tuple[Reason, ...]
    """What protection had to do with it; empty if the wish simply passed."""
    rested: bool = False
    """True in the tick in which the longest run ended it."""


def protect(
    history: History,
    output: OutputSettings,
    wanted: bool,
    around: Surroundings,
    mono_s: float,
) -> Protected:
    """Turn a wish into a command."""
    protection = output.protection
    safety = around.safety
    overrun = _longest_run(history, protection, mono_s)
    endings = [
        ending
        for ending in (overrun, _sent_to_rest(history, protection, mono_s))
        if ending is not None
    ]
    safety = (*safety, *endings)
    locks = () if history.on else _locks(history, output, around, mono_s)
    wish = Wish.SAFETY_OFF if safety else Wish.ON if wanted else Wish.OFF
    now = phase(history, protection, mono_s, locked=bool(locks))
    on = NEXT[now, wish]
    reasons: tuple[Reason, ...] = ()
    if wish is Wish.SAFETY_OFF and (history.on or wanted):
        reasons = safety
    elif wanted and not on:
        reasons = locks
    elif on and not wanted:
        reasons = (_minimum_run(history, protection),)
    return Protected(
        _switched(history, protection, on, bool(endings), mono_s),
        on,
        reasons,
        rested=overrun is not None,
    )


def stays_off(history: History) -> Protected:
    """What `protect` makes of an output that is off and not asked for, whatever is around it.

    By the table no row leads from off to on without a wish, so nothing of it has to be looked at.
    """
    return Protected(history, False, ())


def phase(
    history: History, protection: ProtectionSettings, mono_s: float, *, locked: bool
) -> Phase:
    """Where an output stands."""
    if not history.on:
        return Phase.LOCKED if locked else Phase.READY
    started_s = history.started_mono_s if history.started_mono_s is not None else mono_s
    return Phase.HELD if mono_s - started_s < protection.minimum_run_s else Phase.FREE


def rest(history: History, protection: ProtectionSettings, mono_s: float) -> History:
    """Make an output rest from now on (it was found to have no effect)."""
    return replace(history, rest_until_mono_s=mono_s + protection.rest_s)


def _switched(
    history: History, protection: ProtectionSettings, on: bool, rests: bool, mono_s: float
) -> History:
    if on == history.on:
        return history
    if on:
        recent = tuple(start for start in history.starts_mono_s if mono_s - start < HOUR_S)
        return replace(history, on=True, started_mono_s=mono_s, starts_mono_s=(*recent, mono_s))
    stopped = replace(history, on=False, stopped_mono_s=mono_s)
    return rest(stopped, protection, mono_s) if rests else stopped


# What takes an output off at once.


def _longest_run(history: History, protection: ProtectionSettings, mono_s: float) -> Reason | None:
    if not history.on or history.started_mono_s is None:
        return None
    ran_s = mono_s - history.started_mono_s
    if ran_s < protection.longest_run_s:
        return None
    return Reason(Rule.LONGEST_RUN, until_mono_s=mono_s + protection.rest_s, number=ran_s)


def _sent_to_rest(history: History, protection: ProtectionSettings, mono_s: float) -> Reason | None:
    # Nothing starts before its rest is over, so a rest beyond the start came while it was on: from
    # the watcher. That it is over by now (the loop did not run) is no acquittal.
    began_s = history.started_mono_s or 0.0
    if not history.on or history.rest_until_mono_s is None or history.rest_until_mono_s <= began_s:
        return None
    return Reason(Rule.NO_EFFECT, until_mono_s=mono_s + protection.rest_s)


# What keeps an output on.


def _minimum_run(history: History, protection: ProtectionSettings) -> Reason:
    until_s = (history.started_mono_s or 0.0) + protection.minimum_run_s
    return Reason(Rule.MINIMUM_RUN, until_mono_s=until_s, number=protection.minimum_run_s)


# What keeps an output off. The lock that holds longest comes first.


def _locks(
    history: History, output: OutputSettings, around: Surroundings, mono_s: float
) -> tuple[Reason, ...]:
    protection = output.protection
    found = [
        lock
        for lock in (
            _minimum_off(history, protection),
            _start_to_start(history, protection),
            _power_up(history),
            _starts_per_hour(history, protection, mono_s),
            _rest(history),
            _changeover(around),
        )
        if lock is not None and lock.until_mono_s is not None and lock.until_mono_s > mono_s
    ]
    found.sort(key=lambda lock: -(lock.until_mono_s or 0.0))
    if around.other_on:
        found.insert(0, Reason(Rule.OTHER_RUNNING))
    if around.headroom_a is not None and output.rated_a > around.headroom_a:
        found.append(Reason(Rule.SUPPLY_LIMIT, number=around.headroom_a))
    return tuple(found)


def _minimum_off(history: History, protection: ProtectionSettings) -> Reason | None:
    if history.stopped_mono_s is None:
        return None
    until_s = history.stopped_mono_s + protection.minimum_off_s
    return Reason(Rule.MINIMUM_OFF, until_mono_s=until_s, number=protection.minimum_off_s)


def _start_to_start(history: History, protection: ProtectionSettings) -> Reason | None:
    # A run that safety cut short must not bring the next start forward.
    if not history.starts_mono_s:
        return None
    apart_s = protection.minimum_off_s + protection.minimum_run_s
    return Reason(
        Rule.START_TO_START, until_mono_s=history.starts_mono_s[-1] + apart_s, number=apart_s
    )


def _power_up(history: History) -> Reason | None:
    if history.unknown_until_mono_s is None:
        return None
    return Reason(Rule.POWER_UP, until_mono_s=history.unknown_until_mono_s)


def _starts_per_hour(
    history: History, protection: ProtectionSettings, mono_s: float
) -> Reason | None:
    allowed = protection.starts_per_hour
    recent = [start for start in history.starts_mono_s if mono_s - start < HOUR_S]
    if not allowed or len(recent) < allowed:
        return None
    # Free again when so many starts have left the hour that one more fits.
    until_s = recent[len(recent) - allowed] + HOUR_S
    return Reason(Rule.STARTS_PER_HOUR, until_mono_s=until_s, number=float(allowed))


def _rest(history: History) -> Reason | None:
    if history.rest_until_mono_s is None:
        return None
    return Reason(Rule.RESTING, until_mono_s=history.rest_until_mono_s)


def _changeover(around: Surroundings) -> Reason | None:
    if around.other_stopped_mono_s is None:
        return None
    until_s = around.other_stopped_mono_s + around.changeover_s
    return Reason(Rule.CHANGEOVER, until_mono_s=until_s, number=around.changeover_s)
