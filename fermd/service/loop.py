"""The control loop: probes in, one tick of the core, relays out, everything told to the journal.

Driven by the monotonic clock alone. The same loop runs in the daemon and in the simulator; they
differ in the ports that they hand in. Rules that hold here:

- Nothing here waits for a disk, a socket or a conversion. What takes time has its own thread
  behind a port.
- Relays that went off by themselves (a lease ran out, a line failed) are told to the core before
  it decides anything, so that their minimum off time counts from that moment.
- An `on` is renewed only by a tick that has come to its end.
- Whatever happens in a tick, the loop ends with every relay off.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from fermd.control import alarms as alarm_machine
from fermd.control import chamber, site
from fermd.control.alarms import AlarmKind
from fermd.control.chamber import Inputs, credit_outage
from fermd.control.command_words import command_words
from fermd.control.commands import AcknowledgeAlarm, Command
from fermd.control.decision import Decision
from fermd.control.events import CommandAnswered, Event, OutageSeen, OutputChanged
from fermd.control.moment import Moment
from fermd.control.reading import Sample, Trusted
from fermd.control.reasons import Rule
from fermd.control.settings import ChamberSettings, SiteSettings
from fermd.control.site import SiteState
from fermd.hardware.ports import Clock, ProbeBus, RelayBank, RelayError
from fermd.journal.ports import Journal, ReadingRow
from fermd.service import recall, site_alarms
from fermd.service.outage import Known, OutageTeller
from fermd.service.recall import SITE
from fermd.service.requests import Answer, Request, Requests
from fermd.service.snapshot import ChamberView, Snapshot

log = logging.getLogger(__name__)

SMALLEST_STEP_S = 2.0
"""The wall clock moved against the monotonic one by more than this between two ticks, s: it was
stepped. Above what a time service slews (500 ppm over a minute is 0.03 s)."""

REMEMBER_EVERY_S = 300.0
"""What a restart must know is handed to the journal at every event and at least this often, s: half
of what the journal waits for between two writes of it. Oftener only costs time."""


@dataclass(frozen=True, slots=True)
class Wiring:
    """What the site file says of the loop's surroundings."""

    probe_ids: Mapping[str, str]
    """The probe's id on the bus, by its name."""
    sample_period_s: float
    lease_s: float


@dataclass(frozen=True, slots=True)
class _UnderWay:
    """A tick between its decision and its record."""

    moment: Moment
    events: Mapping[str, Sequence[Event]]
    was_on: frozenset[str]
    """The lines that were on before it."""


class ControlLoop:
    """One site under control. `tick()` runs once; `run()` ticks until `stop()`."""

    def __init__(
        self,
        settings: SiteSettings,
        wiring: Wiring,
        clock: Clock,
        probes: ProbeBus,
        relays: RelayBank,
        journal: Journal,
        after_tick: Callable[[Snapshot], None] | None = None,
        upkeep: Callable[[], Collection[AlarmKind]] = tuple,
    ) -> None:
        self._settings = settings
        self._lines = _lines_of(settings)
        self._wiring = wiring
        self._clock = clock
        self._probes = probes
        self._relays = relays
        self._journal = journal
        self._after_tick = after_tick
        self._upkeep = upkeep
        self._stopping = False
        self._new_settings: tuple[SiteSettings, Wiring] | None = None
        self.requests = Requests(clock.wake)
        now = clock.now()
        outage = journal.outage()
        recalled = recall.recall(settings, outage, clock.boot_id(), now)
        self._state: SiteState = recalled.state
        self._beer_c = dict(recalled.beer_c)
        self._outage = OutageTeller(recalled.untold, clock.boot_id(), now)
        self._told_now: list[Known] = []
        self._forgotten = recalled.unreadable
        self._site_alarms = recalled.site_alarms
        self._stepped: tuple[float, float] | None = None
        self._offset_s = now.wall_utc_s - now.mono_s
        self._failed: set[str] = set()
        self._expired: set[str] = set()
        self._driven_on: set[str] = set()
        """Lines driven on and not off since; one that let go is here until that is heard."""
        self._under_way: _UnderWay | None = None
        """What a tick has decided on and not handed over to the journal yet."""
        self._remembered_mono_s = float("-inf")
        self._started = now
        self._ticks = 0
        self.snapshot: Snapshot | None = None

    def stop(self) -> None:
        """Ask the loop to end; may be called from a signal handler or another thread."""
        self._stopping = True
        self._clock.wake()

    def reload(self, settings: SiteSettings, wiring: Wiring) -> None:
        """Take over settings that were read again; the relay lines must be the same."""
        self._new_settings = (settings, wiring)
        self._clock.wake()

    def run(self) -> None:
        """Tick every sample period until `stop()`; every relay is off when this ends."""
        try:
            due_mono_s = self._clock.now().mono_s
            while not self._stopping:
                self.tick()
                late_s = self._clock.now().mono_s - due_mono_s
                if late_s >= 0:
                    # The next due time after now: what was missed is not made up for by a burst.
                    periods = int(late_s // self._wiring.sample_period_s) + 1
                    due_mono_s += periods * self._wiring.sample_period_s
                self._clock.wait_until(due_mono_s)
        finally:
            self.release(Rule.STOPPING)
            self.requests.close()

    def tick(self) -> Snapshot:
        """Run once, from samples to relays."""
        # Before the moment of the tick, so that nothing it decides by is younger than the decision.
        samples = self._probes.take()
        now = self._clock.now()
        self._take_new_settings(now)
        events: dict[str, list[Event]] = {one.name: [] for one in self._settings.chambers}
        self._look_at_clock(now)
        self._hear_of_expired(now)
        # After the ports: what is asked of a loop that is stuck in one of them is not begun with.
        requests = self.requests.take()
        inputs, rows = self._inputs(now, samples, requests)
        self._state, decisions = site.step(self._state, self._settings, inputs, now)
        for name, decision in decisions.items():
            events[name].extend(decision.events)
        self._under_way = _UnderWay(now, events, frozenset(self._driven_on))
        self._drive(now, events)
        self._journal.readings(rows)
        self._tell_outage(decisions, now, events)
        site_events = self._site_tick(now, requests)
        self._under_way = None
        for name, happened in events.items():
            if happened:
                self._journal.events(now, name, happened)
        if site_events:
            self._journal.events(now, SITE, site_events)
        self._answer(requests, decisions)
        self._remember(now, force=bool(site_events) or any(events.values()))
        return self._publish(now, decisions)

    def release(self, rule: Rule) -> None:
        """Everything off, told to the journal. Never raises; may be called again."""
        self._relays.release_all()
        now = self._clock.now()
        self._tell_what_broke_off()
        self._state, events = site.let_go(self._state, self._settings, rule, now.mono_s)
        # A tick that broke off may have decided on what was never driven: that did not happen.
        driven_on, self._driven_on = self._driven_on, set()
        for name, happened in events.items():
            told = [e for e in happened if not isinstance(e, OutputChanged) or e.line in driven_on]
            if told:
                self._journal.events(now, name, told)
        self._remember(now, force=True)

    def _tell_what_broke_off(self) -> None:
        """Tell of a tick that broke off what it did; the steps it took are remembered in any case.

        What it had decided to switch off and had not come to yet has gone off just now.
        """
        broken, self._under_way = self._under_way, None
        if broken is None:
            return
        for name, happened in broken.events.items():
            told = [
                event
                for event in happened
                if not isinstance(event, OutputChanged)
                or event.line in (self._driven_on if event.on else broken.was_on)
            ]
            if told:
                self._journal.events(broken.moment, name, told)

    def _take_new_settings(self, now: Moment) -> None:
        if self._new_settings is None:
            return
        settings, wiring = self._new_settings
        self._new_settings = None
        self._state = recall.adopt(self._state, self._settings, settings, now)
        self._settings, self._wiring = settings, wiring
        self._lines = _lines_of(settings)

    def _look_at_clock(self, now: Moment) -> None:
        offset_s = now.wall_utc_s - now.mono_s
        by_s = offset_s - self._offset_s
        self._offset_s = offset_s
        if abs(by_s) > SMALLEST_STEP_S:
            log.warning("the wall clock was stepped by %+.1f s", by_s)
            self._stepped = (now.mono_s, by_s)
            self._journal.clock_stepped(now, by_s)

    def _hear_of_expired(self, now: Moment) -> None:
        """Take note of what let go, before anything else: what goes on now may need what it left.

        It is told at once, so that the record has both in the order in which they happened.
        """
        self._expired = expired = set(self._relays.expired())
        if not expired:
            return
        self._driven_on -= expired
        log.error("relays let go by themselves, the loop was late: %s", ", ".join(sorted(expired)))
        # Not the moment of the tick: some may have let go since.
        heard_mono_s = self._clock.now().mono_s
        self._state, happened = site.let_go(
            self._state, self._settings, Rule.LEASE_EXPIRED, heard_mono_s, expired
        )
        for name, told in happened.items():
            self._journal.events(now, name, told)

    def _inputs(
        self, now: Moment, by_id: Mapping[str, Sequence[Sample]], requests: Sequence[Request]
    ) -> tuple[dict[str, Inputs], list[ReadingRow]]:
        inputs: dict[str, Inputs] = {}
        rows: list[ReadingRow] = []
        for one in self._settings.chambers:
            samples: dict[str, Sequence[Sample]] = {}
            for probe in one.probes:
                taken = by_id.get(self._wiring.probe_ids[probe.name], ())
                samples[probe.name] = taken
                for sample in taken:
                    rows.append(_row(now, one.name, probe.name, probe.offset_c, sample))
            commands: tuple[Command, ...] = ()
            if requests:
                commands = tuple(
                    request.command for request in requests if request.chamber == one.name
                )
            inputs[one.name] = Inputs(samples, commands)
        return inputs, rows

    def _drive(self, now: Moment, events: dict[str, list[Event]]) -> None:
        before, self._failed = self._failed, set()
        # Chamber by chamber: a relay that fails must not take the other chambers down.
        for one in self._settings.chambers:
            histories = self._state.chambers[one.name].histories
            on_by_line = {output.line: histories[output.duty].on for output in one.outputs}
            driven_on: set[str] = set()
            late_mono_s = self._clock.now().mono_s
            try:
                if late_mono_s < now.mono_s + self._wiring.lease_s:
                    self._drive_lines(on_by_line, now, driven_on)
                else:
                    self._relays.drive(dict.fromkeys(on_by_line, False), now.mono_s)
                    self._start_nothing(one, on_by_line, late_mono_s, events)
            except RelayError as error:
                wanted = {line for line, on in on_by_line.items() if on} - driven_on
                stuck = {line for line in on_by_line if not self._goes_off(line, now)}
                failed = stuck or wanted or set(on_by_line)
                if not failed <= before:
                    log.error("chamber %s: %s", one.name, error)
                self._failed |= failed
                # Of this chamber alone: what the others know of their outputs still holds.
                state, happened = chamber.let_go(
                    self._state.chambers[one.name], one, Rule.RELAY_FAULT, now.mono_s
                )
                chambers = {**self._state.chambers, one.name: state}
                self._state = replace(self._state, chambers=chambers)
                # On record they are off, also what does not go off: what is told of it next is of
                # another start.
                self._driven_on -= on_by_line.keys()
                events[one.name] = _without_what_never_was(events[one.name], happened, wanted)

    def _drive_lines(
        self, on_by_line: Mapping[str, bool], now: Moment, driven_on: set[str]
    ) -> None:
        """Drive the lines of one chamber, what goes off first; collects those that went on."""
        until_mono_s = now.mono_s + self._wiring.lease_s
        off = {line: False for line, on in on_by_line.items() if not on}
        self._relays.drive(off, until_mono_s)
        self._driven_on -= off.keys()
        for line, on in on_by_line.items():
            if on:
                # One by one, so that it is known which ones went on if one fails.
                self._relays.drive({line: True}, until_mono_s)
                driven_on.add(line)
                self._driven_on.add(line)

    def _start_nothing(
        self,
        one: ChamberSettings,
        on_by_line: Mapping[str, bool],
        mono_s: float,
        events: dict[str, list[Event]],
    ) -> None:
        """Take note that the tick outlasted the lease: what it wanted on is off."""
        wanted = {line for line, on in on_by_line.items() if on}
        self._expired |= wanted
        state, happened = chamber.let_go(
            self._state.chambers[one.name], one, Rule.LEASE_EXPIRED, mono_s
        )
        self._state = replace(self._state, chambers={**self._state.chambers, one.name: state})
        events[one.name] = _without_what_never_was(events[one.name], happened, wanted)

    def _goes_off(self, line: str, now: Moment) -> bool:
        """Drive this line off; whether that could be done."""
        try:
            self._relays.drive({line: False}, now.mono_s)
        except RelayError:
            return False
        self._driven_on.discard(line)
        return True

    def _tell_outage(
        self, decisions: Mapping[str, Decision], now: Moment, events: dict[str, list[Event]]
    ) -> None:
        """Tell of the time before this start, and count what of it counts for the profile."""
        self._told_now = []
        for one in self._settings.chambers:
            vessel = decisions[one.name].vessel
            beer_c = vessel.temp_c if isinstance(vessel, Trusted) else None
            self._outage.happened(one.name, events[one.name])
            known = self._outage.tell(one.name, beer_c, now)
            if known is not None:
                self._told_now.append(known)
                events[one.name].append(
                    OutageSeen(
                        known.lasted_s,
                        known.cleanly,
                        known.beer_before_c,
                        known.beer_after_c,
                        self._count_outage(one.name, known),
                    )
                )
            if beer_c is not None:
                self._beer_c[one.name] = beer_c

    def _count_outage(self, name: str, known: Known) -> float:
        lasted_s, before_c, after_c = known.lasted_s, known.beer_before_c, known.beer_after_c
        if not known.counts or lasted_s is None or before_c is None or after_c is None:
            return 0.0
        chambers = dict(self._state.chambers)
        chambers[name], counted_s = credit_outage(chambers[name], lasted_s, before_c, after_c)
        self._state = replace(self._state, chambers=chambers)
        return counted_s

    def _site_tick(self, now: Moment, requests: Sequence[Request]) -> list[Event]:
        events: list[Event] = []
        for request in requests:
            command = request.command
            if request.chamber != SITE:
                continue
            if not isinstance(command, AcknowledgeAlarm):
                answer = CommandAnswered(
                    command_words(command), command.who, False, "name the chamber that is meant"
                )
            else:
                kept, happened, found = alarm_machine.acknowledge(
                    self._site_alarms, command.alarm, command.subject, command.who
                )
                self._site_alarms = kept
                events.extend(happened)
                why = "" if found else "no such alarm is raised"
                answer = CommandAnswered(command_words(command), command.who, found, why)
            events.append(answer)
            request.answer(Answer(answer.taken, answer.why))
        found_now = site_alarms.present(
            now,
            self._journal.trouble(),
            self._expired,
            self._failed,
            self._lines,
            self._stepped,
            *_told_outage(self._told_now),
            self._forgotten,
            self._upkeep(),
        )
        self._forgotten = ()
        self._site_alarms, changed = alarm_machine.observe(
            self._site_alarms, found_now, now.mono_s, now.wall_utc_s
        )
        return [*events, *changed]

    def _answer(self, requests: Sequence[Request], decisions: Mapping[str, Decision]) -> None:
        if not requests:
            return
        answers = {
            name: [e for e in decision.events if isinstance(e, CommandAnswered)]
            for name, decision in decisions.items()
        }
        for request in requests:
            if request.chamber == SITE:
                continue
            if request.chamber not in answers:
                known = ", ".join(answers)
                request.answer(Answer(False, f"no chamber {request.chamber!r}; there are: {known}"))
                continue
            told = answers[request.chamber]
            if told:
                answered = told.pop(0)
                request.answer(Answer(answered.taken, answered.why))
            else:
                request.answer(Answer(False, "the control loop gave no answer"))

    def _remember(self, now: Moment, *, force: bool) -> None:
        if not force and now.mono_s - self._remembered_mono_s < REMEMBER_EVERY_S:
            return
        self._remembered_mono_s = now.mono_s
        lines, chambers = recall.records(
            self._settings,
            self._state,
            self._beer_c,
            self._site_alarms,
            self._outage.to_plain(),
        )
        self._journal.remember(now, lines, chambers)

    def _publish(self, now: Moment, decisions: Mapping[str, Decision]) -> Snapshot:
        self._ticks += 1
        views = {
            name: ChamberView(
                decision, self._state.chambers[name].healths, self._state.chambers[name].progress
            )
            for name, decision in decisions.items()
        }
        snapshot = Snapshot(
            now,
            self._ticks,
            views,
            alarm_machine.standing(self._site_alarms),
            self._journal.trouble(),
            self._started,
        )
        self.snapshot = snapshot
        if self._after_tick is not None:
            self._after_tick(snapshot)
        return snapshot


def _lines_of(settings: SiteSettings) -> tuple[str, ...]:
    return tuple(output.line for one in settings.chambers for output in one.outputs)


def _told_outage(told: Sequence[Known]) -> tuple[float | None, bool]:
    """How long the longest outage was that is told of in this tick, and whether it is an alarm."""
    if not told:
        return None, False
    lasted_s = max((known.lasted_s for known in told if known.lasted_s is not None), default=None)
    return lasted_s, any(known.worth_an_alarm for known in told)


def _without_what_never_was(
    decided: Sequence[Event], let_go: Sequence[Event], never_on: set[str]
) -> list[Event]:
    """What happened in a tick in which lines that were to go on could not be driven."""
    not_started = {
        event.line
        for event in decided
        if isinstance(event, OutputChanged) and event.on and event.line in never_on
    }
    return [
        *(
            e
            for e in decided
            if not (isinstance(e, OutputChanged) and e.on and e.line in not_started)
        ),
        *(e for e in let_go if not (isinstance(e, OutputChanged) and e.line in not_started)),
    ]


def _row(now: Moment, chamber: str, probe: str, offset_c: float, sample: Sample) -> ReadingRow:
    # The sample's own time, on both clocks: it was taken a little before this tick.
    taken_mono_s = sample.taken_mono_s
    wall_utc_s = now.wall_utc_s - (now.mono_s - taken_mono_s)
    taken = Moment(taken_mono_s, wall_utc_s, now.wall_trusted)
    temp_c = None if sample.temp_c is None else sample.temp_c + offset_c
    return ReadingRow(taken, chamber, probe, temp_c, sample.fault)
