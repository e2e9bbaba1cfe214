"""The replay of a journal finds each broken promise, and nothing in a record that keeps them.

Every tale differs from a good one in one thing.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from journal_tale import PERIOD_S, SITE, WORST_PAST_S, Tale, looser, site

from fermd.control.chamber import LONGEST_TICK_S
from fermd.control.events import AlarmPhase
from fermd.control.reasons import Reason, Rule
from fermd.control.settings import Duty, FailSafeSettings, SiteSettings
from fermd.review.invariants import TakenOver, violations

HOUR_S = 3600.0
LATEST_TICK_S = LONGEST_TICK_S + 2 * PERIOD_S
"""After this a tick that is late would be a gap of its own, s."""


@pytest.fixture
def tale(tmp_path: Path) -> Tale:
    return Tale(tmp_path / "journal.db", rested=True)


def found_in(tale: Tale, settings: SiteSettings | None = None) -> list[str]:
    settings = settings or site().settings
    return [broken.promise for broken in violations(tale.ends(), settings, PERIOD_S)]


# --- records that keep every promise -----------------------------------------------------------


def good_evening(tale: Tale) -> None:
    """Cooling, then heat, each with its pauses."""
    tale.passes(600.0)
    tale.runs("fridge", 180.0)
    tale.passes(300.0)
    tale.runs("fridge", 1200.0)
    tale.passes(600.0)
    tale.runs("belt", 60.0)
    tale.passes(600.0)


def probe_lost_and_found(tale: Tale) -> None:
    tale.passes(600.0)
    tale.on("fridge")
    tale.passes(120.0)
    tale.vessel_reads = False
    tale.passes(50.0)
    tale.trust("vessel", False)
    tale.off("fridge", Rule.FAIL_SAFE)
    tale.passes(60.0)
    tale.alarm("vessel-probe-lost", "vessel")
    tale.passes(HOUR_S)
    tale.vessel_reads = True
    tale.passes(30.0)
    tale.trust("vessel", True)
    tale.alarm("vessel-probe-lost", "vessel", AlarmPhase.CLEARED)
    tale.passes(60.0)
    tale.runs("fridge", 180.0)


def longest_run_with_its_rest(tale: Tale) -> None:
    tale.passes(600.0)
    tale.on("fridge")
    tale.passes(8 * HOUR_S)
    tale.off("fridge", Rule.LONGEST_RUN)
    tale.alarm("longest-run", "fridge")
    tale.passes(1800.0)
    tale.runs("fridge", 300.0)


def killed_and_started_again(tale: Tale) -> None:
    tale.passes(600.0)
    tale.on("fridge")
    tale.passes(100.0)
    tale.is_killed()
    tale.at_s += 5.0
    tale.starts(new_boot=False)
    tale.passes(600.0)
    tale.runs("fridge", 180.0)


def power_cut_and_new_boot(tale: Tale) -> None:
    tale.passes(600.0)
    tale.on("fridge")
    tale.passes(100.0)
    tale.is_killed()
    tale.starts()
    tale.passes(600.0)
    tale.runs("fridge", 180.0)


def orderly_restart_of_the_same_boot(tale: Tale) -> None:
    """Nothing is unknown: the fridge may start when its own time is over."""
    tale.passes(600.0)
    tale.runs("fridge", 180.0)
    tale.passes(290.0)
    tale.stops()
    tale.starts(new_boot=False)
    tale.passes(10.0)
    tale.runs("fridge", 180.0)


def ended_for_no_effect(tale: Tale) -> None:
    tale.air_c = 10.0
    tale.passes(600.0)
    tale.on("fridge")
    warms(tale, 2 * HOUR_S, by_c=0.6)
    tale.alarm("no-effect", "fridge")
    tale.passes(PERIOD_S)
    tale.off("fridge", Rule.NO_EFFECT)
    tale.passes(1800.0)
    tale.runs("fridge", 300.0)


def air_beyond_its_limit_for_a_moment(tale: Tale) -> None:
    tale.passes(600.0)
    tale.on("fridge")
    tale.passes(180.0)
    tale.air_c = -5.5
    tale.passes(40.0)
    tale.off("fridge", Rule.AIR_LIMIT)
    tale.passes(HOUR_S)


def loop_that_hung_while_the_fridge_ran(tale: Tale) -> None:
    """The relay let go by itself; what was read meanwhile is seen by the tick after it."""
    tale.passes(600.0)
    tale.on("fridge")
    tale.passes(8 * HOUR_S - 120.0)
    tale.air_c = -6.0
    tale.vessel_reads = False
    tale.hangs(HOUR_S, lets_go="fridge")
    tale.trust("vessel", False)
    tale.passes(60.0)
    tale.alarm("vessel-probe-lost", "vessel")
    tale.passes(HOUR_S)


def loop_that_hung_for_no_longer_than_a_tick_may(tale: Tale) -> None:
    tale.passes(600.0)
    tale.on("fridge")
    tale.passes(8 * HOUR_S - 10.0)
    tale.hangs(LONGEST_TICK_S, is_a_gap=False, lets_go="fridge")
    tale.passes(HOUR_S)


def probe_lost_while_the_loop_hangs_before_its_alarm(tale: Tale) -> None:
    tale.passes(600.0)
    tale.vessel_reads = False
    tale.trust("vessel", False)
    tale.passes(30.0)
    tale.hangs(2 * HOUR_S)
    tale.alarm("vessel-probe-lost", "vessel")
    tale.passes(HOUR_S)


def probe_lost_before_a_kill_and_nobody_there_for_an_hour(tale: Tale) -> None:
    tale.passes(600.0)
    tale.vessel_reads = False
    tale.trust("vessel", False)
    tale.passes(30.0)
    tale.is_killed()
    tale.at_s += HOUR_S
    tale.starts(new_boot=False, trusted=False)
    tale.passes(60.0)


GOOD = [
    loop_that_hung_while_the_fridge_ran,
    loop_that_hung_for_no_longer_than_a_tick_may,
    probe_lost_while_the_loop_hangs_before_its_alarm,
    probe_lost_before_a_kill_and_nobody_there_for_an_hour,
    good_evening,
    probe_lost_and_found,
    longest_run_with_its_rest,
    killed_and_started_again,
    power_cut_and_new_boot,
    orderly_restart_of_the_same_boot,
    ended_for_no_effect,
    air_beyond_its_limit_for_a_moment,
]


@pytest.mark.parametrize("told", GOOD, ids=lambda told: told.__name__)
def test_nothing_is_found_in_a_record_that_keeps_every_promise(
    tale: Tale, told: Callable[[Tale], None]
) -> None:
    told(tale)
    assert found_in(tale) == []


def test_a_watcher_that_was_blind_is_given_time_from_when_it_sees_again(tale: Tale) -> None:
    tale.passes(600.0)
    tale.air_c = 9.8
    tale.on("fridge")
    tale.passes(3 * HOUR_S)
    tale.air_c = 25.0
    tale.passes(40.0)
    tale.trust("air", False)
    tale.passes(200.0)
    tale.trust("air", True)
    tale.passes(PERIOD_S)
    tale.off("fridge", Rule.NO_EFFECT)
    tale.alarm("no-effect", "fridge")
    tale.passes(600.0)
    goes_on = '"belt"]\n[chamber.lager.limits]\ncarry_on_without_air = true'
    assert found_in(tale, site(SITE.replace('"belt"]', goes_on)).settings) == []


# --- records that break one --------------------------------------------------------------------


def warms(tale: Tale, span_s: float, by_c: float) -> None:
    """The air warms steadily."""
    ticks = int(span_s / PERIOD_S)
    from_c = tale.air_c
    for tick in range(1, ticks + 1):
        tale.air_c = from_c + by_c * tick / ticks
        tale.passes(PERIOD_S)


def heat_while_cooling(tale: Tale) -> None:
    tale.passes(1000.0)
    tale.on("belt")
    tale.passes(60.0)
    tale.on("fridge")


def heat_too_soon_after_cooling(tale: Tale) -> None:
    tale.passes(600.0)
    tale.runs("fridge", 180.0)
    tale.passes(590.0)
    tale.on("belt")


def start_before_the_minimum_off_time(tale: Tale) -> None:
    tale.passes(600.0)
    tale.runs("fridge", 180.0)
    tale.passes(290.0)
    tale.on("fridge")


def start_too_soon_after_a_kill(tale: Tale) -> None:
    """The relay may have been on until the new daemon let it go: the last known moment is no proof.

    The fridge is off for 300 s since the last word of the old daemon, and for 290 s for sure.
    """
    tale.passes(600.0)
    tale.on("fridge")
    tale.passes(100.0)
    tale.is_killed()
    tale.at_s += 10.0
    tale.starts(new_boot=False, waits_s=0.0)
    tale.passes(290.0)
    tale.on("fridge")


def start_when_the_starts_of_the_hour_may_be_used_up(tale: Tale) -> None:
    """Off for long enough since the kill, but six starts may lie in the hour before."""
    tale.passes(600.0)
    tale.is_killed()
    tale.starts(new_boot=False, waits_s=0.0)
    tale.passes(WORST_PAST_S - 10.0)
    tale.on("fridge")


def start_too_soon_after_the_last_one(tale: Tale) -> None:
    """A run that was cut short by a danger does not bring the next start forward."""
    tale.passes(600.0)
    tale.on("fridge")
    tale.passes(60.0)
    tale.off("fridge", Rule.FREEZING)
    tale.passes(410.0)
    tale.on("fridge")


def first_start_of_a_new_boot_too_soon(tale: Tale) -> None:
    tale.passes(2 * HOUR_S)
    tale.stops()
    tale.starts(waits_s=0.0)
    tale.passes(290.0)
    tale.on("fridge")


def seven_starts_in_an_hour(tale: Tale) -> None:
    tale.passes(600.0)
    for _ in range(7):
        tale.runs("fridge", 180.0)
        tale.passes(320.0)


def seven_starts_in_an_hour_over_a_power_cut(tale: Tale) -> None:
    tale.passes(600.0)
    for _ in range(5):
        tale.runs("fridge", 180.0)
        tale.passes(300.0)
    tale.stops()
    tale.starts(waits_s=0.0)
    tale.passes(600.0)
    for _ in range(2):
        tale.runs("fridge", 180.0)
        tale.passes(300.0)


def stop_before_the_minimum_run_time(tale: Tale) -> None:
    tale.passes(600.0)
    tale.runs("fridge", 170.0)


def runs_with_a_lost_vessel_probe(tale: Tale) -> None:
    tale.passes(600.0)
    tale.on("fridge")
    tale.passes(120.0)
    tale.trust("vessel", False)
    tale.passes(PERIOD_S)
    tale.off("fridge", Rule.FAIL_SAFE)


def runs_with_a_lost_air_probe(tale: Tale) -> None:
    tale.passes(600.0)
    tale.on("fridge")
    tale.passes(120.0)
    tale.trust("air", False)
    tale.passes(PERIOD_S)
    tale.off("fridge", Rule.AIR_UNKNOWN)


def starts_with_a_lost_probe(tale: Tale) -> None:
    tale.passes(600.0)
    tale.trust("vessel", False)
    tale.alarm("vessel-probe-lost", "vessel")
    tale.on("fridge")
    tale.off("fridge", Rule.FAIL_SAFE)


def runs_blind_and_nobody_says_so(tale: Tale) -> None:
    """The trust was never taken back, but the readings are not there."""
    tale.passes(600.0)
    tale.on("fridge")
    tale.passes(180.0)
    tale.vessel_reads = False
    tale.passes(200.0)
    tale.off("fridge")


def no_alarm_about_a_lost_probe(tale: Tale) -> None:
    tale.passes(600.0)
    tale.vessel_reads = False
    tale.trust("vessel", False)
    tale.passes(60.0 + LATEST_TICK_S)


def no_alarm_about_a_lost_probe_after_the_loop_hung(tale: Tale) -> None:
    tale.passes(600.0)
    tale.vessel_reads = False
    tale.trust("vessel", False)
    tale.hangs(HOUR_S)
    tale.passes(LATEST_TICK_S)


def runs_for_too_long_after_the_loop_hung(tale: Tale) -> None:
    tale.passes(600.0)
    tale.hangs(HOUR_S)
    tale.on("fridge")
    tale.passes(8 * HOUR_S + 60.0)
    tale.off("fridge")


def runs_with_a_lost_probe_after_the_loop_hung(tale: Tale) -> None:
    tale.passes(600.0)
    tale.on("fridge")
    tale.passes(120.0)
    tale.vessel_reads = False
    tale.hangs(HOUR_S)
    tale.passes(1200.0)
    tale.off("fridge")


def cools_below_the_freezing_margin(tale: Tale) -> None:
    tale.beer_c, tale.air_c = -1.6, -4.0
    tale.passes(600.0)
    tale.on("fridge")
    tale.passes(180.0)
    tale.off("fridge", Rule.FREEZING)


def cools_air_that_is_too_cold(tale: Tale) -> None:
    tale.passes(600.0)
    tale.on("fridge")
    tale.passes(100.0)
    tale.air_c = -5.5
    tale.passes(180.0)
    tale.off("fridge", Rule.AIR_LIMIT)


def heats_air_that_is_too_warm(tale: Tale) -> None:
    tale.passes(700.0)
    tale.on("belt")
    tale.passes(100.0)
    tale.air_c = 40.5
    tale.passes(180.0)
    tale.off("belt", Rule.AIR_LIMIT)


def starts_in_air_that_is_too_cold(tale: Tale) -> None:
    tale.air_c = -5.5
    tale.passes(600.0)
    tale.on("fridge")
    tale.off("fridge", Rule.AIR_LIMIT)


def runs_for_too_long(tale: Tale) -> None:
    tale.passes(600.0)
    tale.on("fridge")
    tale.passes(8 * HOUR_S + 60.0)
    tale.off("fridge", Rule.WITHIN_BAND)


def never_stops(tale: Tale) -> None:
    tale.passes(600.0)
    tale.on("fridge")
    tale.passes(9 * HOUR_S)
    tale.is_killed()


def no_rest_after_the_longest_run(tale: Tale) -> None:
    tale.passes(600.0)
    tale.on("fridge")
    tale.passes(8 * HOUR_S)
    tale.off("fridge", Rule.LONGEST_RUN)
    tale.alarm("longest-run", "fridge")
    tale.passes(1700.0)
    tale.on("fridge")


def no_alarm_about_the_longest_run(tale: Tale) -> None:
    tale.passes(600.0)
    tale.on("fridge")
    tale.passes(8 * HOUR_S)
    tale.off("fridge", Rule.LONGEST_RUN)
    tale.passes(LATEST_TICK_S + PERIOD_S)


def goes_on_without_effect(tale: Tale) -> None:
    tale.air_c = 10.0
    tale.passes(600.0)
    tale.on("fridge")
    warms(tale, 3 * HOUR_S, by_c=2.0)
    tale.off("fridge")


def heats_on_without_effect(tale: Tale) -> None:
    tale.air_c = 10.0
    tale.passes(600.0)
    tale.on("belt")
    for _ in range(int(3 * HOUR_S / PERIOD_S)):
        tale.beer_c -= 0.0015
        tale.air_c = tale.beer_c
        tale.passes(PERIOD_S)
    tale.off("belt")


def switched_on_twice(tale: Tale) -> None:
    tale.passes(600.0)
    tale.on("fridge")
    tale.passes(400.0)
    tale.on("fridge")
    tale.passes(180.0)
    tale.off("fridge")


def switched_off_twice(tale: Tale) -> None:
    tale.passes(600.0)
    tale.runs("fridge", 180.0)
    tale.off("fridge")


def no_reason(tale: Tale) -> None:
    tale.passes(600.0)
    tale.switch("fridge", True)
    tale.passes(180.0)
    tale.off("fridge")


def a_reason_that_calls_for_nothing(tale: Tale) -> None:
    tale.passes(600.0)
    tale.on("fridge", Rule.WITHIN_BAND)
    tale.passes(180.0)
    tale.off("fridge")


def stopped_because_it_is_called_for(tale: Tale) -> None:
    tale.passes(600.0)
    tale.on("fridge")
    tale.passes(180.0)
    tale.switch("fridge", False, Reason(Rule.ABOVE_BAND, tale.beer_c, tale.beer_c - 0.1))


def a_reason_that_does_not_hold(tale: Tale) -> None:
    tale.passes(600.0)
    tale.switch("fridge", True, Reason(Rule.ABOVE_BAND, tale.beer_c, tale.beer_c + 0.1))
    tale.passes(180.0)
    tale.off("fridge")


def a_temperature_that_nobody_read(tale: Tale) -> None:
    tale.passes(600.0)
    tale.switch("fridge", True, Reason(Rule.ABOVE_BAND, 12.0, 11.0))
    tale.passes(180.0)
    tale.off("fridge")


def a_call_without_a_temperature(tale: Tale) -> None:
    tale.passes(600.0)
    tale.switch("fridge", True, Reason(Rule.ABOVE_BAND))
    tale.passes(180.0)
    tale.off("fridge")


def on_when_the_daemon_stops(tale: Tale) -> None:
    tale.passes(600.0)
    tale.on("fridge")
    tale.passes(180.0)


def an_output_of_no_site(tale: Tale) -> None:
    tale.passes(600.0)
    tale.switch("pump", False, Reason(Rule.NO_TARGET))


UNKNOWN_PAST = [
    "changeover delay",
    "minimum off time",
    "rest and power-up delay",
    "start to start",
    "starts per hour",
]

BROKEN: list[tuple[Callable[[Tale], None], list[str]]] = [
    (heat_while_cooling, ["heat and cooling never together", "supply limit"]),
    (heat_too_soon_after_cooling, ["changeover delay"]),
    (start_before_the_minimum_off_time, ["minimum off time", "start to start"]),
    (start_too_soon_after_a_kill, UNKNOWN_PAST),
    (start_when_the_starts_of_the_hour_may_be_used_up, ["starts per hour"]),
    (start_too_soon_after_the_last_one, ["start to start"]),
    (first_start_of_a_new_boot_too_soon, UNKNOWN_PAST),
    (seven_starts_in_an_hour, ["starts per hour"]),
    (seven_starts_in_an_hour_over_a_power_cut, ["starts per hour"]),
    (stop_before_the_minimum_run_time, ["minimum run time"]),
    (runs_with_a_lost_vessel_probe, ["fail-safe"]),
    (runs_with_a_lost_air_probe, ["fail-safe"]),
    (starts_with_a_lost_probe, ["fail-safe"]),
    (runs_blind_and_nobody_says_so, ["fail-safe"]),
    (no_alarm_about_a_lost_probe, ["alarm raised"]),
    (no_alarm_about_a_lost_probe_after_the_loop_hung, ["alarm raised"]),
    (runs_for_too_long_after_the_loop_hung, ["longest run"]),
    (runs_with_a_lost_probe_after_the_loop_hung, ["fail-safe"]),
    (cools_below_the_freezing_margin, ["freezing margin"]),
    (cools_air_that_is_too_cold, ["lowest air temperature"]),
    (heats_air_that_is_too_warm, ["highest air temperature"]),
    (starts_in_air_that_is_too_cold, ["lowest air temperature"]),
    (runs_for_too_long, ["longest run"]),
    (never_stops, ["longest run"]),
    (no_rest_after_the_longest_run, ["rest and power-up delay"]),
    (no_alarm_about_the_longest_run, ["alarm raised"]),
    (goes_on_without_effect, ["off without effect"]),
    (heats_on_without_effect, ["off without effect"]),
    (switched_on_twice, ["every change is a change", "start to start"]),
    (switched_off_twice, ["every change is a change"]),
    (no_reason, ["every change has a reason"]),
    (a_reason_that_calls_for_nothing, ["the reason fits the change"]),
    (stopped_because_it_is_called_for, ["the reason fits the change"]),
    (a_reason_that_does_not_hold, ["the reason holds"]),
    (a_temperature_that_nobody_read, ["the reason's temperature was read"]),
    (a_call_without_a_temperature, ["the reason holds"]),
    (on_when_the_daemon_stops, ["off when the daemon stopped"]),
    (an_output_of_no_site, ["every output is one of the site"]),
]


@pytest.mark.parametrize(("told", "promises"), BROKEN, ids=[told.__name__ for told, _ in BROKEN])
def test_a_broken_promise_is_found(
    tale: Tale, told: Callable[[Tale], None], promises: list[str]
) -> None:
    told(tale)
    if tale._journal is not None and told is not on_when_the_daemon_stops:
        for output in ("fridge", "belt"):
            if is_on(tale, output):
                tale.passes(180.0)
                tale.off(output)
    assert sorted(set(found_in(tale))) == sorted(promises)


def is_on(tale: Tale, output: str) -> bool:
    """Whether the tale has left it on."""
    from fermd.control.events import OutputChanged
    from fermd.journal.reader import JournalReader

    assert tale.journal.flush()
    seen = [
        row.happening.on
        for row in JournalReader(tale.path).last_events(10_000)
        if isinstance(row.happening, OutputChanged) and row.happening.output == output
    ]
    return bool(seen and seen[-1])


def test_a_violation_says_which_row_shows_it_and_by_how_much(tale: Tale) -> None:
    start_too_soon_after_the_last_one(tale)
    tale.passes(180.0)
    tale.off("fridge")
    (broken,) = violations(tale.ends(), site().settings, PERIOD_S)
    assert str(broken) == (f"row {broken.seq}, chamber lager: start to start: 470.0 s, not 480 s")


def test_chambers_that_share_a_circuit_are_added_up(tmp_path: Path) -> None:
    text = SITE.replace(
        "[simulated]",
        """\
[probe.ale-vessel]
id = "28-0000071a2b3d"

[output.ale-fridge]
gpio = 22
active = "low"
duty = "cool"
circuit = "garage"
rated_a = 0.4

[chamber.ale]
vessel_probe = "ale-vessel"
outputs = ["ale-fridge"]

[simulated]""",
    )
    tale = Tale(tmp_path / "journal.db")
    tale.passes(600.0)
    tale.on("fridge")
    tale.chamber = "ale"
    tale.switch("ale-fridge", True, Reason(Rule.OVERRIDE))
    tale.stops()
    found = violations(tale.path, site(text).settings, PERIOD_S)
    assert ("ale", "supply limit", "garage carries 1.2 A, not 1 A") in [
        (broken.chamber, broken.promise, broken.detail) for broken in found
    ]


def test_rows_that_were_lost_are_no_broken_promise(tale: Tale) -> None:
    """The journal was set aside while the fridge was on: the new one begins in the middle."""
    tale.passes(600.0)
    tale.on("fridge")
    tale.passes(60.0)
    tale.journal.flush()
    tale.path.write_bytes(b"this is no database any more" * 100)
    for companion in ("-wal", "-shm"):
        tale.path.with_name(tale.path.name + companion).unlink(missing_ok=True)
    tale.passes(120.0)
    tale.off("fridge")
    tale.passes(300.0)
    tale.runs("fridge", 180.0)
    assert [p for p in found_in(tale) if p == "every change is a change"] == []


def test_a_record_without_an_air_probe_is_held_to_what_it_has(tmp_path: Path) -> None:
    text = SITE.replace('air_probe = "air"\n', "").replace(
        '[probe.air]\nid = "28-0000071a2b3c"\n', ""
    )
    tale = Tale(tmp_path / "journal.db", rested=True)
    tale.passes(600.0)
    tale.runs("fridge", 180.0)
    assert found_in(tale, site(text).settings) == []


def test_readings_that_were_lost_are_no_broken_promise(tale: Tale) -> None:
    """The disk was full for an hour, and what came first had to go."""
    tale.passes(600.0)
    tale.at_s += 3600.0
    tale.beer_c = 11.0
    tale.on("fridge")
    tale.passes(10.0)
    tale.passes(180.0)
    tale.off("fridge")
    assert found_in(tale) == []


def test_settings_that_were_taken_over_hold_from_then_on(tale: Tale) -> None:
    """Two minutes more of minimum off time, from a site file that was read again in between."""
    tale.passes(600.0)
    tale.runs("fridge", 180.0)
    tale.passes(320.0)
    tale.runs("fridge", 180.0)
    longer = looser(site(), minimum_off_s=420.0)
    taken_over = TakenOver("boot-1", tale.at_s + 1.0, longer.settings)
    tale.passes(320.0)
    tale.runs("fridge", 180.0)
    path = tale.ends()
    assert violations(path, site().settings, PERIOD_S) == []
    found = violations(path, site().settings, PERIOD_S, [taken_over])
    assert [broken.promise for broken in found] == ["minimum off time", "start to start"]
    elsewhere = TakenOver("boot-7", 0.0, longer.settings)
    with pytest.raises(ValueError, match="boot-7"):
        violations(path, site().settings, PERIOD_S, [elsewhere])


def test_a_run_that_other_settings_make_too_long_ends_at_the_next_tick(tale: Tale) -> None:
    tale.passes(600.0)
    tale.on("fridge")
    tale.passes(2 * HOUR_S)
    shorter = looser(site(), longest_run_s=HOUR_S)
    taken_over = TakenOver("boot-1", tale.at_s - 5.0, shorter.settings)
    tale.off("fridge", Rule.LONGEST_RUN)
    tale.alarm("longest-run", "fridge")
    path = tale.ends()
    assert violations(path, site().settings, PERIOD_S, [taken_over]) == []
    early = TakenOver("boot-1", tale.at_s - 100.0, shorter.settings)
    found = violations(path, site().settings, PERIOD_S, [early])
    assert [broken.promise for broken in found] == ["longest run"]


def test_a_circuit_whose_limit_was_changed_is_held_against_the_new_one(tale: Tale) -> None:
    wide = site(SITE.replace("limit_a = 1.0", "limit_a = 1.2")).settings
    tight = site().settings
    tale.passes(600.0)
    widened = TakenOver("boot-1", tale.at_s, wide)
    tale.passes(10.0)
    tale.on("fridge")
    tale.passes(600.0)
    tale.on("belt")
    tale.passes(60.0)
    tightened = TakenOver("boot-1", tale.at_s, tight)
    tale.passes(600.0)
    tale.off("belt")
    tale.passes(60.0)
    tale.on("belt")
    tale.passes(60.0)
    tale.off("belt")
    tale.off("fridge")
    path = tale.ends()
    assert "supply limit" in {one.promise for one in violations(path, tight, PERIOD_S)}

    def overloads(*taken_over: TakenOver) -> int:
        found = violations(path, tight, PERIOD_S, taken_over)
        return sum(one.promise == "supply limit" for one in found)

    assert overloads() == 2
    assert overloads(widened) == 0
    assert overloads(widened, tightened) == 1


def test_a_fail_safe_is_not_held_back_by_what_a_lost_probe_said_last(tale: Tale) -> None:
    (chamber,) = site().settings.chambers
    chosen = replace(chamber, fail_safe=FailSafeSettings(duty=Duty.COOL))
    settings = replace(site().settings, chambers=(chosen,))
    tale.beer_c = -1.9
    tale.passes(600.0)
    tale.vessel_reads = False
    tale.trust("vessel", False)
    tale.alarm("vessel-probe-lost", "vessel")
    tale.passes(60.0)
    tale.switch("fridge", True, Reason(Rule.FAIL_SAFE_CYCLE))
    tale.passes(180.0)
    tale.off("fridge", Rule.FAIL_SAFE_CYCLE)
    assert found_in(tale, settings) == []
