"""The present in figures, for whoever keeps series of them: OpenMetrics text at /metrics.

A caller that takes plain text and no OpenMetrics gets the older text format of the same families.

Everything comes from the copy in memory at the moment of asking; nothing is counted here. What is
not known (a probe without trust, a chamber without a target) is left out, never told as a number.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from prometheus_client import CollectorRegistry
from prometheus_client.core import GaugeMetricFamily, InfoMetricFamily, Metric
from prometheus_client.exposition import generate_latest as generate_text
from prometheus_client.metrics_core import CounterMetricFamily
from prometheus_client.openmetrics.exposition import CONTENT_TYPE_LATEST, generate_latest
from prometheus_client.registry import Collector

from fermd import __version__
from fermd.control.alarms import Alarm
from fermd.control.decision import Mode
from fermd.control.moment import Moment
from fermd.control.reading import Trusted
from fermd.service.snapshot import Snapshot

MEDIA_TYPE: Final = CONTENT_TYPE_LATEST
TEXT_TYPE: Final = "text/plain; version=0.0.4; charset=utf-8"
"""The older format, which linters read; names here have only letters that every version knows."""


def exposition(
    snapshot: Snapshot | None, now: Moment, open_pages: int, site: str, accept: str = ""
) -> tuple[bytes, str]:
    """Return the whole answer and its media type.

    `site` is what the board is called, `accept` what the caller says of the forms that it takes.
    """
    registry = CollectorRegistry(auto_describe=False)
    registry.register(_Present(snapshot, now, open_pages, site))
    if "text/plain" in accept and "openmetrics" not in accept:
        return generate_text(registry), TEXT_TYPE
    told: bytes = generate_latest(registry)  # type: ignore[no-untyped-call]
    return told, MEDIA_TYPE


class _Present(Collector):
    """What is so, as families of samples."""

    def __init__(self, snapshot: Snapshot | None, now: Moment, open_pages: int, site: str) -> None:
        self._snapshot, self._now, self._open_pages = snapshot, now, open_pages
        self._site = site

    def collect(self) -> Iterator[Metric]:
        """Yield every family."""
        about = {"version": __version__, "site": self._site}
        yield InfoMetricFamily("fermd", "The running fermd.", about)
        yield _gauge(
            "fermd_open_pages",
            "Streams of live statuses that are open by this door.",
            self._open_pages,
        )
        snapshot = self._snapshot
        if snapshot is None:
            return
        yield from _of_site(snapshot, self._now)
        yield from _of_probes(snapshot, self._now)
        yield from _of_chambers(snapshot)
        yield from _of_outputs(snapshot, self._now)
        yield _alarms(snapshot)


def _of_site(snapshot: Snapshot, now: Moment) -> Iterator[Metric]:
    age_s = now.mono_s - snapshot.moment.mono_s
    up_s = now.mono_s - snapshot.started.mono_s
    yield _gauge(
        "fermd_tick_age_seconds", "How old the newest tick of control is.", age_s, "seconds"
    )
    yield _gauge("fermd_up_seconds", "How long the daemon has been running.", up_s, "seconds")
    ticks = CounterMetricFamily("fermd_ticks", "Ticks of control since the start.")
    ticks.add_metric([], snapshot.tick)
    yield ticks
    yield _gauge(
        "fermd_clock_is_set", "Whether the wall clock is known to be set.", now.wall_trusted
    )
    trouble = snapshot.journal_trouble
    family = GaugeMetricFamily(
        "fermd_journal_trouble", "1 while something is wrong with the journal.", labels=["kind"]
    )
    for kind in ("not-writing", "set-aside"):
        family.add_metric([kind], float(trouble is not None and trouble.kind == kind))
    yield family


def _of_probes(snapshot: Snapshot, now: Moment) -> Iterator[Metric]:
    labels = ["chamber", "probe", "role"]
    reads = GaugeMetricFamily(
        "fermd_temperature_celsius", "What a trusted probe reads.", labels=labels, unit="celsius"
    )
    ages = GaugeMetricFamily(
        "fermd_reading_age_seconds", "How old that reading is.", labels=labels, unit="seconds"
    )
    trusted = GaugeMetricFamily("fermd_probe_trusted", "Whether a probe is trusted.", labels=labels)
    samples = CounterMetricFamily("fermd_probe_samples", "Samples of a probe.", labels=labels)
    faults = CounterMetricFamily(
        "fermd_probe_faults", "Bad samples of a probe, by fault.", labels=[*labels, "fault"]
    )
    for chamber, view in snapshot.chambers.items():
        for probe, role, seen in view.probes():
            place = [chamber, probe, role]
            health = view.healths[probe]
            trusted.add_metric(place, float(isinstance(seen, Trusted)))
            if isinstance(seen, Trusted):
                reads.add_metric(place, seen.temp_c)
                ages.add_metric(place, now.mono_s - seen.taken_mono_s)
            samples.add_metric(place, health.samples)
            for fault, count in health.counts.items():
                faults.add_metric([*place, fault.value], count)
    yield from (reads, ages, trusted, samples, faults)


def _of_chambers(snapshot: Snapshot) -> Iterator[Metric]:
    targets = GaugeMetricFamily(
        "fermd_target_celsius",
        "The target: heated up to the one bound, cooled down to the other.",
        labels=["chamber", "bound"],
        unit="celsius",
    )
    modes = GaugeMetricFamily(
        "fermd_mode", "1 for the mode that a chamber is in.", labels=["chamber", "mode"]
    )
    steps = GaugeMetricFamily(
        "fermd_profile_step", "The profile's step, from 1.", labels=["chamber", "profile"]
    )
    for chamber, view in snapshot.chambers.items():
        decision = view.decision
        if decision.target is not None:
            targets.add_metric([chamber, "heat"], decision.target.heat_c)
            targets.add_metric([chamber, "cool"], decision.target.cool_c)
        for mode in Mode:
            modes.add_metric([chamber, mode.value], float(decision.mode is mode))
        if decision.outlook is not None:
            steps.add_metric([chamber, decision.outlook.profile], decision.outlook.index + 1)
    yield from (targets, modes, steps)


def _of_outputs(snapshot: Snapshot, now: Moment) -> Iterator[Metric]:
    labels = ["chamber", "output", "duty"]
    on = GaugeMetricFamily("fermd_output_on", "Whether an output is on.", labels=labels)
    wanted = GaugeMetricFamily(
        "fermd_output_wanted", "Whether it is called for; protection may hold it.", labels=labels
    )
    for_s = GaugeMetricFamily(
        "fermd_output_state_seconds",
        "How long it has been on or off: of a run that goes on, its length so far.",
        labels=labels,
        unit="seconds",
    )
    for chamber, view in snapshot.chambers.items():
        for output in view.decision.outputs:
            place = [chamber, output.name, output.duty.value]
            on.add_metric(place, float(output.on))
            wanted.add_metric(place, float(output.wanted))
            if output.since_mono_s is not None:
                for_s.add_metric(place, now.mono_s - output.since_mono_s)
    yield from (on, wanted, for_s)


def _alarms(snapshot: Snapshot) -> Metric:
    family = GaugeMetricFamily(
        "fermd_alarm",
        "An alarm that is not cleared: 1 raised, 0 acknowledged.",
        labels=["chamber", "alarm", "subject", "severity"],
    )
    standing: list[tuple[str, Alarm]] = [("", alarm) for alarm in snapshot.site_alarms]
    for chamber, view in snapshot.chambers.items():
        standing += [(chamber, alarm) for alarm in view.decision.alarms]
    for chamber, alarm in standing:
        place = [chamber, alarm.kind.value, alarm.subject, alarm.severity.value]
        family.add_metric(place, float(alarm.phase.value == "raised"))
    return family


def _gauge(name: str, meaning: str, value: float, unit: str = "") -> Metric:
    return GaugeMetricFamily(name, meaning, value=float(value), unit=unit)
