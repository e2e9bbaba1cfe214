"""Whether a probe is to be believed.

Theory of operation. Each sample is judged on its own (a fault from the bus, out of range, a jump
that the place cannot make, frozen). One bad sample is passed over: the last good reading stands
until it is stale. A run of `bad_run` bad samples, or `stale_s` without a good one, ends the
trust; `good_run` good samples in a row, each within reach of the one before, restore it, also at
a new level (a probe that was moved is not wrong for ever). Every fault has its own counter.

The reading is the median of the newest `median_of` good samples: a single spike never passes,
and a ramp is seen (median_of - 1) / 2 sample periods late.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from fermd.control.reading import ProbeFault, Reading, Sample, Trusted, Untrusted
from fermd.control.settings import ProbeSettings


@dataclass(frozen=True, slots=True)
class Health:
    """What is remembered of one probe. Temperatures here are uncalibrated, °C."""

    trusted: bool = False
    fault: ProbeFault = ProbeFault.STARTING
    """Why it is not trusted, or the newest fault if it is."""
    since_mono_s: float = 0.0
    """Since when it has been trusted or not."""
    good: int = 0
    """Good samples in a row."""
    bad: int = 0
    """Bad samples in a row."""
    recent_c: tuple[float, ...] = ()
    """The newest good samples, oldest first."""
    reference_c: float | None = None
    """What the next sample is compared with, to tell a jump."""
    reference_mono_s: float = 0.0
    good_mono_s: float | None = None
    """When the newest good sample was taken."""
    same_c: float | None = None
    """The value that has not changed ..."""
    same_since_mono_s: float = 0.0
    """... since then."""
    counts: Mapping[ProbeFault, int] = field(default_factory=dict)
    """How many samples have shown each fault."""
    samples: int = 0
    """How many samples there have been in all."""
    bad_share: float = 0.0
    """Share of bad samples lately (an exponential mean over about `SHARE_SAMPLES`), 0 to 1. Stands
    still while the probe is not trusted: that it is lost is told already."""


SHARE_SAMPLES = 100


def absorb(
    health: Health, settings: ProbeSettings, samples: Iterable[Sample], mono_s: float
) -> Health:
    """Take in the samples since the last tick (oldest first), and the time that has passed."""
    for sample in samples:
        health = _absorb_one(health, settings, sample)
    if (
        health.trusted
        and health.good_mono_s is not None
        and mono_s - health.good_mono_s > settings.stale_s
    ):
        health = _lose_trust(_count(health, ProbeFault.STALE), ProbeFault.STALE, mono_s)
    return health


def reading(health: Health, settings: ProbeSettings) -> Reading:
    """The temperature to act on, or why there is none."""
    if health.trusted and health.good_mono_s is not None:
        return Trusted(_median(health.recent_c) + settings.offset_c, health.good_mono_s)
    last_c = health.recent_c[-1] + settings.offset_c if health.recent_c else None
    return Untrusted(health.fault, health.since_mono_s, last_c, health.good_mono_s)


def _absorb_one(health: Health, settings: ProbeSettings, sample: Sample) -> Health:
    temp_c, at_s = sample.temp_c, sample.taken_mono_s
    if temp_c is None:
        return _bad(health, settings, sample.fault or ProbeFault.NO_ANSWER, at_s)
    if not settings.lowest_c <= temp_c <= settings.highest_c:
        return _bad(health, settings, ProbeFault.OUT_OF_RANGE, at_s)
    if (
        settings.frozen_s
        and temp_c == health.same_c
        and at_s - health.same_since_mono_s >= settings.frozen_s
    ):
        return _bad(health, settings, ProbeFault.FROZEN, at_s)
    if _jumps(health, settings, temp_c, at_s):
        jumped = _bad(health, settings, ProbeFault.JUMP, at_s)
        if not jumped.trusted:
            # No level is believed any more: later samples are held against this one, so that a
            # probe that was moved is believed at its new place.
            jumped = replace(jumped, reference_c=temp_c, reference_mono_s=at_s)
        return jumped
    return _good(health, settings, temp_c, at_s)


def _jumps(health: Health, settings: ProbeSettings, temp_c: float, at_s: float) -> bool:
    if health.reference_c is None:
        return False
    minutes = max(0.0, at_s - health.reference_mono_s) / 60.0
    allowed_c = settings.jump_c + settings.jump_c_per_min * minutes
    return abs(temp_c - health.reference_c) > allowed_c


def _good(health: Health, settings: ProbeSettings, temp_c: float, at_s: float) -> Health:
    good = health.good + 1
    trusted = health.trusted or good >= settings.good_run
    # Samples from before a loss of trust are not mixed with those that restore it.
    earlier_c = health.recent_c if health.trusted or health.good else ()
    same = temp_c == health.same_c
    # Built in one go, not by `replace`: this is the hottest line of the simulator.
    return Health(
        trusted=trusted,
        fault=health.fault,
        since_mono_s=health.since_mono_s if trusted == health.trusted else at_s,
        good=good,
        bad=0,
        recent_c=(*earlier_c, temp_c)[-settings.median_of :],
        reference_c=temp_c,
        reference_mono_s=at_s,
        good_mono_s=at_s,
        same_c=temp_c,
        same_since_mono_s=health.same_since_mono_s if same else at_s,
        counts=health.counts,
        samples=health.samples + 1,
        bad_share=health.bad_share - health.bad_share / SHARE_SAMPLES,
    )


def _bad(health: Health, settings: ProbeSettings, fault: ProbeFault, at_s: float) -> Health:
    health = replace(
        _count(health, fault),
        fault=fault,
        good=0,
        bad=health.bad + 1,
        samples=health.samples + 1,
        bad_share=(
            health.bad_share + (1.0 - health.bad_share) / SHARE_SAMPLES
            if health.trusted
            else health.bad_share
        ),
    )
    if health.trusted and health.bad >= settings.bad_run:
        return _lose_trust(health, fault, at_s)
    return health


def _lose_trust(health: Health, fault: ProbeFault, mono_s: float) -> Health:
    # A probe that was gone for a day and comes back to the same value has not been frozen: the
    # time in which nobody saw it is no evidence.
    # But one that went stale because it was frozen still is.
    same_c = health.same_c if ProbeFault.FROZEN in (fault, health.fault) else None
    return replace(
        health,
        trusted=False,
        fault=fault,
        since_mono_s=mono_s,
        good=0,
        reference_c=None,
        same_c=same_c,
    )


def _count(health: Health, fault: ProbeFault) -> Health:
    return replace(health, counts={**health.counts, fault: health.counts.get(fault, 0) + 1})


def _median(values: tuple[float, ...]) -> float:
    ordered = sorted(values)
    middle = len(ordered) // 2
    if len(ordered) % 2:
        return ordered[middle]
    return (ordered[middle - 1] + ordered[middle]) / 2
