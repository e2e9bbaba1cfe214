"""What a compressor is spared when its process, its board or its power goes and comes back."""

from __future__ import annotations

import pytest
from chamber_bench import Bench, fridge, heater, settings

from fermd.control import chamber
from fermd.control.commands import SetTarget
from fermd.control.events import OutputChanged
from fermd.control.protection import History, history_after_restart, unknown_history
from fermd.control.reasons import Rule
from fermd.control.settings import (
    HOUR_S,
    PROTECTION_BY_KIND,
    Duty,
    OutputKind,
    ProtectionSettings,
)
from fermd.control.state import first_state

COMPRESSOR = PROTECTION_BY_KIND[OutputKind.COMPRESSOR]
REST = ProtectionSettings(rest_s=1800.0)


def test_unknown_history_counts_as_stopped_just_now_after_all_starts_that_are_allowed() -> None:
    worst = unknown_history(COMPRESSOR, 10_000.0)
    assert not worst.on
    assert worst.stopped_mono_s == 10_000.0
    assert worst.unknown_until_mono_s == 10_300.0
    assert worst.starts_mono_s == (7600.0, 8080.0, 8560.0, 9040.0, 9520.0, 10_000.0)


def test_a_proven_history_is_the_truth() -> None:
    known = History(stopped_mono_s=900.0, started_mono_s=500.0, starts_mono_s=(500.0,))
    assert history_after_restart(known, COMPRESSOR, 1000.0, proven=True) is known


@pytest.mark.parametrize(
    ("known", "proven"),
    [
        (None, True),
        (History(stopped_mono_s=1.0), False),
        (History(on=True, started_mono_s=-5000.0, starts_mono_s=(-5000.0,)), True),
        (History(stopped_mono_s=5000.0), True),
        (History(started_mono_s=5000.0), True),
        (History(starts_mono_s=(1.0, 5000.0)), True),
    ],
    ids=["none", "unproven", "was on", "stop ahead", "start ahead", "starts ahead"],
)
def test_any_other_history_counts_as_the_worst(known: History | None, proven: bool) -> None:
    after = history_after_restart(known, COMPRESSOR, 1000.0, proven=proven)
    assert after == unknown_history(COMPRESSOR, 1000.0)


def test_starts_under_looser_settings_are_not_forgotten_by_a_crash() -> None:
    # Twelve starts an hour, 300 s apart, were allowed until a moment ago; now it is six.
    looser = tuple(1e4 - 300.0 * n for n in range(11, -1, -1))
    known = History(stopped_mono_s=1e4, starts_mono_s=looser)
    after = history_after_restart(known, COMPRESSOR, 1e4 + 10.0, proven=False)
    assert set(looser) <= set(after.starts_mono_s)


def test_a_stop_in_the_moment_of_the_restart_is_no_time_that_lies_ahead() -> None:
    known = History(stopped_mono_s=1000.0, started_mono_s=500.0, starts_mono_s=(500.0,))
    assert history_after_restart(known, COMPRESSOR, 1000.0, proven=True) is known


def test_a_start_of_a_full_hour_ago_is_out_of_mind_after_a_crash() -> None:
    known = History(stopped_mono_s=300.0, starts_mono_s=(0.0, 480.5))
    after = history_after_restart(known, COMPRESSOR, HOUR_S, proven=False)
    assert after.starts_mono_s[:2] == (480.5, 1200.0)


def test_a_rest_is_kept_over_a_kill_and_never_lasts_longer_than_a_rest() -> None:
    known = History(rest_until_mono_s=1500.0)
    after = history_after_restart(known, REST, 1000.0, proven=False)
    assert after.rest_until_mono_s == 1500.0
    other_boot = History(stopped_mono_s=9e5, rest_until_mono_s=9e5)
    after = history_after_restart(other_boot, REST, 1000.0, proven=False)
    assert after.rest_until_mono_s == 2800.0


def cold_fridge() -> Bench:
    bench = Bench(settings(outputs=(fridge(),)), vessel_c=20.0)
    bench.tick(SetTarget(10.0))
    return bench


def test_compressor_stays_off_for_its_minimum_off_time_after_a_power_cut() -> None:
    bench = cold_fridge()
    took_s = bench.run_until(lambda _: bench.on(Duty.COOL), within_s=HOUR_S)
    # Six starts 480 s apart have been used up at the worst: the next is free after 20 minutes.
    assert took_s >= COMPRESSOR.minimum_off_s
    assert took_s == pytest.approx(HOUR_S - 5 * 480.0 - 10.0, abs=10.0)


def test_a_changed_site_file_does_not_let_a_compressor_start_too_early() -> None:
    bench = cold_fridge().knows_its_past()
    bench.run_until(lambda _: bench.on(Duty.COOL), within_s=100.0)
    bench.run(600.0)
    stopped, events = chamber.let_go(bench.state, bench.settings, Rule.STOPPING, bench.mono_s)
    assert [event.on for event in events if isinstance(event, OutputChanged)] == [False]
    longer = ProtectionSettings(600.0, 180.0, 6, 300.0)
    after = Bench(settings(outputs=(fridge(protection=longer),)), vessel_c=20.0)
    after.mono_s = bench.mono_s
    history = history_after_restart(
        stopped.histories[Duty.COOL], longer, after.mono_s + 2.0, proven=True
    )
    after.state = first_state(after.settings, after.mono_s, {Duty.COOL: history})
    after.tick(SetTarget(10.0))
    took_s = after.run_until(lambda _: after.on(Duty.COOL), within_s=HOUR_S)
    assert took_s + 10.0 == pytest.approx(600.0, abs=10.0)


def test_after_a_power_cut_heat_counts_as_having_run_just_now() -> None:
    both = settings(outputs=(heater(), fridge(protection=ProtectionSettings())))
    bench = Bench(both, vessel_c=20.0)
    bench.tick(SetTarget(10.0))
    assert bench.rules(Duty.COOL) == [Rule.FAIL_SAFE]
    bench.run(30.0)
    assert bench.rules(Duty.COOL) == [Rule.CHANGEOVER]
    took_s = bench.run_until(lambda _: bench.on(Duty.COOL), within_s=HOUR_S)
    assert took_s + 40.0 == pytest.approx(600.0, abs=10.0)


def test_a_relay_that_let_go_by_itself_starts_its_minimum_off_time() -> None:
    bench = cold_fridge().knows_its_past()
    bench.run_until(lambda _: bench.on(Duty.COOL), within_s=100.0)
    bench.run(600.0)
    bench.state, events = chamber.let_go(
        bench.state, bench.settings, Rule.LEASE_EXPIRED, bench.mono_s, {"17"}
    )
    (event,) = events
    assert isinstance(event, OutputChanged)
    assert event.reasons[0].rule is Rule.LEASE_EXPIRED
    bench.tick()
    assert not bench.on(Duty.COOL)
    assert bench.rules(Duty.COOL)[0] is Rule.MINIMUM_OFF
    assert bench.run_until(lambda _: bench.on(Duty.COOL), within_s=600.0) == 290.0


def test_a_lease_that_ran_out_on_another_line_is_no_concern_of_the_fridge() -> None:
    bench = cold_fridge().knows_its_past()
    bench.run_until(lambda _: bench.on(Duty.COOL), within_s=100.0)
    before = bench.state.histories
    bench.state, events = chamber.let_go(
        bench.state, bench.settings, Rule.LEASE_EXPIRED, bench.mono_s, {"4"}
    )
    assert events == ()
    assert bench.state.histories == before


def test_starts_that_are_presumed_at_one_moment_all_count() -> None:
    """Without minimum times nothing keeps presumed starts apart, and each is one nevertheless."""
    bare = ProtectionSettings(starts_per_hour=6)
    known = History(starts_mono_s=(900.0, 950.0), stopped_mono_s=960.0)
    after = history_after_restart(known, bare, 1000.0, proven=False)
    assert after.starts_mono_s == (900.0, 950.0, *(1000.0,) * 6)


def test_an_unknown_past_ends_with_a_start_where_starts_are_not_limited_too() -> None:
    heater = ProtectionSettings(minimum_off_s=100.0, minimum_run_s=50.0)
    assert unknown_history(heater, 1000.0).starts_mono_s == (1000.0,)
