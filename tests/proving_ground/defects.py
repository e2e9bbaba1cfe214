"""Deliberate defects of core, service, journal and ports: each breaks an invariant by one patch.

Each comes with a seed whose world is clean without it and shows it. `DEFECTS` is the whole list;
`prove.py --defects` runs all of it.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Any

from world import Scale, World, world_of

from fermd.control import alarms, chamber, health, memory, progress, protection, safety, site
from fermd.control.alarms import RULES, AlarmKind
from fermd.control.protection import NEXT, History, Phase, Wish
from fermd.control.settings import DAY_S
from fermd.control.view import View
from fermd.hardware import simulated
from fermd.journal import inserting, writer
from fermd.service import hold, outage, ownership, recall


class Patch:
    """Puts something in the place of something else, and back at the end."""

    def __init__(self) -> None:
        self._before: list[tuple[Any, str, Any]] = []

    def setattr(self, where: Any, name: str, value: Any) -> None:
        """Put `value` there; the name must be known."""
        self._before.append((where, name, where.__dict__[name]))
        setattr(where, name, value)

    def undo(self) -> None:
        """Put everything back."""
        while self._before:
            setattr(*self._before.pop())


def nothing(*_: object, **__: object) -> None:
    """A rule that never holds."""


# -- 1: heat and cooling together ---------------------------------------------------------------


def leaves_out_the_changeover(patch: Patch) -> None:
    patch.setattr(protection, "_changeover", nothing)


def starts_beside_the_other(patch: Patch) -> None:
    real = chamber._surroundings
    patch.setattr(chamber, "_surroundings", lambda *given: replace(real(*given), other_on=False))


# -- 2: the compressor --------------------------------------------------------------------------


def leaves_out_the_minimum_off_time(patch: Patch) -> None:
    patch.setattr(protection, "_minimum_off", nothing)
    patch.setattr(protection, "_start_to_start", nothing)


def leaves_out_the_starts_per_hour(patch: Patch) -> None:
    patch.setattr(protection, "_starts_per_hour", nothing)


def takes_unknown_for_long_ago(patch: Patch) -> None:
    patch.setattr(protection, "unknown_history", lambda *_: History())


def believes_every_record(patch: Patch) -> None:
    real = protection.history_after_restart

    def trusting(known: Any, *given: Any, proven: bool) -> History:
        del proven
        return replace(known, on=False) if known is not None else real(None, *given, proven=True)

    patch.setattr(recall, "history_after_restart", trusting)


def forgets_lines_when_the_site_is_read_again(patch: Patch) -> None:
    real = recall.adopt

    def forgetful(old: Any, old_settings: Any, settings: Any, now: Any) -> Any:
        state = real(old, old_settings, settings, now)
        chambers = {
            name: replace(one, histories={duty: History() for duty in one.histories})
            for name, one in state.chambers.items()
        }
        return replace(state, chambers=chambers)

    patch.setattr(recall, "adopt", forgetful)


# -- 3: nothing runs blind ----------------------------------------------------------------------


def leaves_out_the_fail_safe(patch: Patch) -> None:
    patch.setattr(safety, "_fail_safe", nothing)
    real = chamber._call

    def goes_on(*given: Any) -> Any:
        view = next(each for each in given if isinstance(each, View))
        if view.vessel_c is not None:
            return real(*given)
        return chamber.Called(chamber.Call.COOL, chamber.Reason(chamber.Rule.OVERRIDE))

    patch.setattr(chamber, "_call", goes_on)


def believes_stale_readings(patch: Patch) -> None:
    real = health.absorb

    def patient(seen: Any, probe: Any, samples: Any, mono_s: float) -> Any:
        return real(seen, replace(probe, stale_s=1e9, bad_run=10**6), samples, mono_s)

    patch.setattr(health, "absorb", patient)


def believes_a_frozen_probe(patch: Patch) -> None:
    real = health.absorb

    def trusting(seen: Any, probe: Any, samples: Any, mono_s: float) -> Any:
        return real(seen, replace(probe, frozen_s=0.0), samples, mono_s)

    patch.setattr(health, "absorb", trusting)


def goes_on_without_air(patch: Patch) -> None:
    patch.setattr(safety, "_air_unknown", nothing)


def raises_no_alarm_about_a_probe(patch: Patch) -> None:
    late = replace(RULES[AlarmKind.VESSEL_PROBE_LOST], raise_after_s=1e9)
    patch.setattr(alarms, "RULES", {**RULES, AlarmKind.VESSEL_PROBE_LOST: late})


# -- 4: limits ----------------------------------------------------------------------------------


def leaves_out_the_air_limits(patch: Patch) -> None:
    patch.setattr(safety, "_air_limit", nothing)


def leaves_out_the_freezing_margin(patch: Patch) -> None:
    patch.setattr(safety, "_freezing", nothing)


# -- 5: runs that end ---------------------------------------------------------------------------


def leaves_out_the_longest_run(patch: Patch) -> None:
    patch.setattr(protection, "_longest_run", nothing)


def misses_what_has_no_effect(patch: Patch) -> None:
    patch.setattr(chamber, "watch", lambda *_, **__: (None, None))


def argues_with_safety(patch: Patch) -> None:
    patch.setattr(protection, "NEXT", {**NEXT, (Phase.FREE, Wish.SAFETY_OFF): True})


# -- 6: relays off at every end -----------------------------------------------------------------


def leaves_relays_on_at_the_end(patch: Patch) -> None:
    patch.setattr(simulated.SimulatedRelayBank, "release_all", nothing)


def leases_never_run_out(patch: Patch) -> None:
    real = simulated.SimulatedRelayBank.drive

    def for_ever(self: Any, on_by_line: Any, lease_until_mono_s: float) -> None:
        real(self, on_by_line, lease_until_mono_s + 10 * DAY_S)

    patch.setattr(simulated.SimulatedRelayBank, "drive", for_ever)


# -- 7: the journal -----------------------------------------------------------------------------


def tells_no_switching_off(patch: Patch) -> None:
    real = writer.SqliteJournal.events

    def forgetful(self: Any, moment: Any, name: str, events: Any) -> None:
        kept = [one for one in events if getattr(one, "on", True) is not False]
        real(self, moment, name, kept)

    patch.setattr(writer.SqliteJournal, "events", forgetful)


def tells_what_did_not_happen(patch: Patch) -> None:
    real = chamber._command

    def talkative(*given: Any) -> Any:
        state, outputs = real(*given)
        last, events = outputs[-1], given[-1]
        if not any(isinstance(one, chamber.OutputChanged) for one in events):
            told = chamber.OutputChanged(last.duty, last.name, last.line, not last.on, last.reasons)
            events.append(told)
        return state, outputs

    patch.setattr(chamber, "_command", talkative)


def writes_events_only_now_and_then(patch: Patch) -> None:
    real = inserting.Inserter._insert_happening

    def lossy(self: Any, waiting: Any) -> None:
        if waiting.order % 3:
            real(self, waiting)

    patch.setattr(inserting.Inserter, "_insert_happening", lossy)


# -- 8: progress --------------------------------------------------------------------------------


def forgets_a_steps_clock(patch: Patch) -> None:
    _remembers(patch, lambda plain: plain.update(elapsed_s=0.0))


def repeats_a_step_after_a_restart(patch: Patch) -> None:
    _remembers(patch, lambda plain: plain.update(index=max(0, plain["index"] - 1)))


def _remembers(patch: Patch, wrongly: Callable[[dict[str, Any]], None]) -> None:
    real = memory.to_plain

    def forgetful(state: Any) -> Any:
        plain = real(state)
        if plain["progress"] is not None:
            wrongly(plain["progress"])
        return plain

    patch.setattr(recall, "to_plain", forgetful)


def skips_a_step(patch: Patch) -> None:
    real = progress._next

    def hasty(at: Any, step: Any, beer_c: Any) -> Any:
        moved = real(at, step, beer_c)
        last = len(moved.profile.steps) - 1
        return replace(moved, index=moved.index + 1) if moved.index < last else moved

    patch.setattr(progress, "_next", hasty)


def shortens_holds(patch: Patch) -> None:
    real = progress._run_clock
    patch.setattr(progress, "_run_clock", lambda at, for_s, passed_s: real(at, for_s / 2, passed_s))


def hurries_ramps(patch: Patch) -> None:
    real = progress.planned_s

    def hasty(step: Any, entry_c: float) -> float | None:
        planned_s = real(step, entry_c)
        return None if planned_s is None else planned_s / 3

    patch.setattr(progress, "planned_s", hasty)


def tells_of_no_outage(patch: Patch) -> None:
    patch.setattr(outage.OutageTeller, "tell", nothing)


# -- 9: the supply ------------------------------------------------------------------------------


def does_not_add_up_the_supply(patch: Patch) -> None:
    patch.setattr(site, "_headroom_a", lambda *_: {})


def charges_no_start_within_a_tick(patch: Patch) -> None:
    patch.setattr(site, "_charged", lambda left_a, *_: left_a)


# -- 10: one daemon -----------------------------------------------------------------------------


def locks_nothing(patch: Patch) -> None:
    patch.setattr(ownership.Ownership, "_lock", nothing)


def claims_the_lines_before_the_lock(patch: Patch) -> None:
    real = hold.hold

    @contextmanager
    def hasty(site_file: Any, ports: Any) -> Any:
        with ports.relays:
            pass
        with real(site_file, ports):
            yield

    # The proving ground holds the hardware by this name.
    import world_run

    patch.setattr(world_run, "hold", hasty)


INVARIANT_OF: dict[Callable[[Patch], None], int] = {
    leaves_out_the_changeover: 1,
    starts_beside_the_other: 1,
    leaves_out_the_minimum_off_time: 2,
    leaves_out_the_starts_per_hour: 2,
    takes_unknown_for_long_ago: 2,
    believes_every_record: 2,
    forgets_lines_when_the_site_is_read_again: 2,
    leaves_out_the_fail_safe: 3,
    believes_stale_readings: 3,
    believes_a_frozen_probe: 3,
    goes_on_without_air: 3,
    raises_no_alarm_about_a_probe: 3,
    leaves_out_the_air_limits: 4,
    leaves_out_the_freezing_margin: 4,
    leaves_out_the_longest_run: 5,
    misses_what_has_no_effect: 5,
    argues_with_safety: 5,
    leaves_relays_on_at_the_end: 6,
    leases_never_run_out: 6,
    tells_no_switching_off: 7,
    tells_what_did_not_happen: 7,
    writes_events_only_now_and_then: 7,
    forgets_a_steps_clock: 8,
    repeats_a_step_after_a_restart: 8,
    skips_a_step: 8,
    shortens_holds: 8,
    hurries_ramps: 8,
    tells_of_no_outage: 8,
    does_not_add_up_the_supply: 9,
    charges_no_start_within_a_tick: 9,
    locks_nothing: 10,
    claims_the_lines_before_the_lock: 10,
}


@contextmanager
def planted(plant: Callable[[Patch], None]) -> Any:
    """Have a defect for as long as the context lasts."""
    patch = Patch()
    try:
        plant(patch)
        yield
    finally:
        patch.undo()


SHOWN_BY: dict[str, tuple[int, float]] = {
    "leaves_out_the_changeover": (8, 0.15),
    "starts_beside_the_other": (8, 0.8),
    "believes_a_frozen_probe": (1, 0.3),
    "leaves_out_the_freezing_margin": (8, 0.8),
    "misses_what_has_no_effect": (7, 0.15),
    "leases_never_run_out": (3, 0.3),
    "charges_no_start_within_a_tick": (28, 0.4),
    "leaves_out_the_starts_per_hour": (1, 0.05),
    "takes_unknown_for_long_ago": (1, 0.05),
    "believes_every_record": (1, 0.6),
    "forgets_lines_when_the_site_is_read_again": (16, 0.8),
    "leaves_out_the_minimum_off_time": (8, 0.05),
    "leaves_out_the_fail_safe": (2, 0.05),
    "believes_stale_readings": (8, 0.05),
    "raises_no_alarm_about_a_probe": (8, 0.05),
    "goes_on_without_air": (10, 0.1),
    "leaves_out_the_air_limits": (3, 0.05),
    "leaves_out_the_longest_run": (3, 0.1),
    "argues_with_safety": (3, 0.1),
    "leaves_relays_on_at_the_end": (3, 0.05),
    "tells_no_switching_off": (1, 0.05),
    "tells_what_did_not_happen": (1, 0.05),
    "writes_events_only_now_and_then": (1, 0.05),
    "forgets_a_steps_clock": (5, 0.1),
    "repeats_a_step_after_a_restart": (1, 0.2),
    "skips_a_step": (8, 0.05),
    "hurries_ramps": (8, 0.15),
    "shortens_holds": (1, 0.05),
    "tells_of_no_outage": (2, 0.15),
    "does_not_add_up_the_supply": (3, 0.8),
    "locks_nothing": (8, 0.1),
    "claims_the_lines_before_the_lock": (8, 0.1),
}
"""The seed of the short world that shows a defect, and how much of it is enough, days."""


IN_PEACE = {"hurries_ramps"}
"""Shown by a world in which nothing happens after the first commands: a ramp comes to its end."""


@dataclass(frozen=True, slots=True)
class Defect:
    """A defect, the invariant that it breaks, and the world that shows it."""

    plant: Callable[[Patch], None]
    invariant: int
    shown: tuple[int, float]
    """The seed of a short world, and how much of it is enough, days."""

    @property
    def name(self) -> str:
        """Its name in words."""
        return self.plant.__name__.replace("_", " ")

    def world(self) -> World:
        """The beginning of the world that shows it."""
        seed, days = self.shown
        world = beginning_of(world_of(seed, Scale.SHORT), days)
        if self.plant.__name__ in IN_PEACE:
            return replace(world, script=world.script[: len(world.rooms)])
        return world


def beginning_of(world: World, days: float) -> World:
    """Return the same world, over after so many days."""
    span_s = min(world.span_s, days * DAY_S)
    script = tuple(entry for entry in world.script if entry.at_s < span_s)
    return replace(world, span_s=span_s, script=script)


DEFECTS = tuple(
    Defect(plant, invariant, SHOWN_BY[plant.__name__]) for plant, invariant in INVARIANT_OF.items()
)
"""Every defect of the list."""
