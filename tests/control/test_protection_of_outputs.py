"""The last word between a call and a relay: when an output may start, and when it may stop."""

from __future__ import annotations

from itertools import product

import pytest
from chamber_bench import fridge

from fermd.control.protection import (
    NEXT,
    History,
    Phase,
    Protected,
    Surroundings,
    Wish,
    phase,
    protect,
    rest,
    unknown_history,
)
from fermd.control.reasons import Reason, Rule
from fermd.control.settings import HOUR_S, OutputSettings, ProtectionSettings

FREEZING = Reason(Rule.FREEZING, -1.5, -1.5)
FRIDGE = fridge(
    protection=ProtectionSettings(
        minimum_off_s=300.0,
        minimum_run_s=180.0,
        starts_per_hour=4,
        power_up_delay_s=300.0,
        longest_run_s=7200.0,
        rest_s=1800.0,
    ),
    rated_a=2.0,
)


class Relay:
    """One protected output on the bench."""

    def __init__(self, output: OutputSettings = FRIDGE, history: History | None = None) -> None:
        self.output = output
        self.history = history or History()

    def asked(self, wanted: bool, mono_s: float, around: Surroundings | None = None) -> Protected:
        made = protect(self.history, self.output, wanted, around or Surroundings(), mono_s)
        self.history = made.history
        return made

    def rules(self, wanted: bool, mono_s: float, around: Surroundings | None = None) -> list[Rule]:
        return [reason.rule for reason in self.asked(wanted, mono_s, around).reasons]


def test_every_phase_answers_every_wish() -> None:
    assert set(NEXT) == set(product(Phase, Wish))


@pytest.mark.parametrize("wish", Wish)
def test_what_is_locked_stays_off_and_what_safety_wants_off_goes_off(wish: Wish) -> None:
    assert not NEXT[Phase.LOCKED, wish]
    assert not any(NEXT[now, Wish.SAFETY_OFF] for now in Phase)


def test_what_is_held_stays_on_and_the_rest_follows_the_call() -> None:
    assert NEXT[Phase.HELD, Wish.OFF]
    assert not NEXT[Phase.FREE, Wish.OFF]
    assert not NEXT[Phase.READY, Wish.OFF]
    assert all(NEXT[now, Wish.ON] for now in (Phase.READY, Phase.HELD, Phase.FREE))


def test_a_history_says_where_an_output_stands() -> None:
    protection = FRIDGE.protection
    assert phase(History(), protection, 0.0, locked=True) is Phase.LOCKED
    assert phase(History(), protection, 0.0, locked=False) is Phase.READY
    running = History(on=True, started_mono_s=0.0)
    assert phase(running, protection, 179.9, locked=False) is Phase.HELD
    assert phase(running, protection, 180.0, locked=False) is Phase.FREE
    # What is on since nobody knows when counts as started just now.
    assert phase(History(on=True), protection, 1e6, locked=False) is Phase.HELD


def test_a_compressor_with_a_known_past_starts_when_it_is_called() -> None:
    made = Relay().asked(True, 10.0)
    assert made.on
    assert made.reasons == ()
    assert made.history == History(on=True, started_mono_s=10.0, starts_mono_s=(10.0,))


def test_a_compressor_runs_its_minimum_time_even_if_nobody_calls_any_more() -> None:
    relay = Relay()
    relay.asked(True, 0.0)
    made = relay.asked(False, 179.0)
    assert made.on
    assert made.reasons == (Reason(Rule.MINIMUM_RUN, until_mono_s=180.0, number=180.0),)
    assert not relay.asked(False, 180.0).on


def test_the_minimum_run_time_counts_from_the_start_and_not_from_the_boot() -> None:
    relay = Relay()
    relay.asked(True, 5000.0)
    (reason,) = relay.asked(False, 5010.0).reasons
    assert reason.until_mono_s == 5180.0


def test_safety_stops_a_compressor_within_its_minimum_run_time() -> None:
    relay = Relay()
    relay.asked(True, 0.0)
    made = relay.asked(True, 1.0, Surroundings(safety=(FREEZING,)))
    assert not made.on
    assert made.reasons == (FREEZING,)
    assert not made.rested


def test_safety_says_its_reason_to_an_output_that_is_off_only_if_it_is_called() -> None:
    around = Surroundings(safety=(FREEZING,))
    assert Relay().asked(True, 0.0, around).reasons == (FREEZING,)
    assert Relay().asked(False, 0.0, around).reasons == ()


def test_a_compressor_stays_off_for_its_minimum_off_time() -> None:
    relay = Relay()
    relay.asked(True, 0.0)
    relay.asked(False, 1000.0)
    made = relay.asked(True, 1299.0)
    assert not made.on
    assert made.reasons == (Reason(Rule.MINIMUM_OFF, until_mono_s=1300.0, number=300.0),)
    assert relay.asked(True, 1300.0).on


def test_a_run_that_safety_cut_short_does_not_bring_the_next_start_forward() -> None:
    relay = Relay()
    relay.asked(True, 0.0)
    relay.asked(True, 10.0, Surroundings(safety=(FREEZING,)))
    assert relay.rules(True, 310.0) == [Rule.START_TO_START]
    assert not relay.history.on
    assert relay.asked(True, 480.0).on


def test_a_compressor_starts_no_more_often_in_any_hour_than_is_allowed() -> None:
    relay = Relay()
    starts = []
    for second in range(0, 3 * 3600, 10):
        # A call that comes and goes as fast as protection lets it.
        before = relay.history.on
        if relay.asked(not before, float(second)).on and not before:
            starts.append(float(second))
    assert len(starts) >= 8
    for start in starts:
        assert sum(start <= other < start + HOUR_S for other in starts) <= 4
    assert starts[4] == HOUR_S


def test_a_start_is_out_of_mind_when_its_hour_is_full() -> None:
    once = fridge(protection=ProtectionSettings(starts_per_hour=1))
    relay = Relay(once)
    relay.asked(True, 0.0)
    relay.asked(False, 10.0)
    assert relay.rules(True, HOUR_S - 0.1) == [Rule.STARTS_PER_HOUR]
    assert relay.asked(True, HOUR_S).on
    assert relay.history.starts_mono_s == (HOUR_S,)


def test_the_lock_that_holds_longest_is_named_first() -> None:
    relay = Relay(history=unknown_history(FRIDGE.protection, 0.0))
    made = relay.asked(True, 1.0)
    assert [reason.rule for reason in made.reasons] == [
        Rule.STARTS_PER_HOUR,
        Rule.START_TO_START,
        Rule.MINIMUM_OFF,
        Rule.POWER_UP,
    ]
    untils = [reason.until_mono_s for reason in made.reasons]
    assert untils == [HOUR_S - 3 * 480.0, 480.0, 300.0, 300.0]


def test_every_lock_tells_the_number_that_it_counts_by() -> None:
    relay = Relay(history=unknown_history(FRIDGE.protection, 0.0))
    made = relay.asked(True, 1.0, Surroundings(other_stopped_mono_s=-500.0, changeover_s=600.0))
    told = {reason.rule: (reason.until_mono_s, reason.number) for reason in made.reasons}
    assert told == {
        Rule.STARTS_PER_HOUR: (HOUR_S - 3 * 480.0, 4.0),
        Rule.START_TO_START: (480.0, 480.0),
        Rule.MINIMUM_OFF: (300.0, 300.0),
        Rule.POWER_UP: (300.0, None),
        Rule.CHANGEOVER: (100.0, 600.0),
    }


def test_the_opposite_that_runs_is_named_before_every_lock_that_ends_by_time() -> None:
    relay = Relay(history=unknown_history(FRIDGE.protection, 0.0))
    assert relay.rules(True, 1.0, Surroundings(other_on=True))[:2] == [
        Rule.OTHER_RUNNING,
        Rule.STARTS_PER_HOUR,
    ]


def test_a_lock_says_nothing_where_nothing_is_called_for() -> None:
    assert Relay(history=unknown_history(FRIDGE.protection, 0.0)).asked(False, 1.0).reasons == ()


def test_an_output_waits_for_its_opposite_and_then_for_the_changeover() -> None:
    relay = Relay()
    running = Surroundings(other_on=True, changeover_s=600.0)
    assert relay.rules(True, 0.0, running) == [Rule.OTHER_RUNNING]
    stopped = Surroundings(other_stopped_mono_s=100.0, changeover_s=600.0)
    assert relay.rules(True, 699.0, stopped) == [Rule.CHANGEOVER]
    assert relay.asked(True, 700.0, stopped).on


def test_an_output_waits_for_the_current_of_its_circuit() -> None:
    relay = Relay()
    made = relay.asked(True, 0.0, Surroundings(headroom_a=1.9))
    assert made.reasons == (Reason(Rule.SUPPLY_LIMIT, number=1.9),)
    assert relay.asked(True, 1.0, Surroundings(headroom_a=2.0)).on


def test_what_runs_already_is_not_taken_off_by_a_full_circuit() -> None:
    relay = Relay()
    relay.asked(True, 0.0)
    assert relay.asked(True, 1.0, Surroundings(headroom_a=0.0)).on


def test_the_longest_run_ends_it_and_makes_it_rest() -> None:
    relay = Relay()
    relay.asked(True, 0.0)
    assert relay.asked(True, 7199.0).on
    made = relay.asked(True, 7200.0)
    assert not made.on
    assert made.rested
    assert made.reasons == (Reason(Rule.LONGEST_RUN, until_mono_s=9000.0, number=7200.0),)
    assert relay.rules(True, 8999.0) == [Rule.RESTING]
    assert relay.asked(True, 9000.0).on


def test_an_output_found_without_effect_goes_off_and_rests_from_that_moment() -> None:
    relay = Relay()
    relay.asked(True, 0.0)
    relay.history = rest(relay.history, FRIDGE.protection, 3000.0)
    made = relay.asked(True, 3010.0)
    assert not made.on
    assert not made.rested
    assert made.reasons == (Reason(Rule.NO_EFFECT, until_mono_s=4810.0),)
    assert relay.rules(True, 4809.0) == [Rule.RESTING]
    assert relay.asked(True, 4810.0).on


def test_an_output_found_without_effect_goes_off_even_if_nobody_looked_for_a_day() -> None:
    relay = Relay(fridge(protection=ProtectionSettings(longest_run_s=7 * 86400.0, rest_s=60.0)))
    relay.asked(True, 0.0)
    relay.history = rest(relay.history, relay.output.protection, 3000.0)
    assert relay.rules(True, 90_000.0) == [Rule.NO_EFFECT]
    assert not relay.history.on


def test_an_output_that_ran_from_the_first_moment_of_the_boot_is_found_without_effect_too() -> None:
    relay = Relay(fridge(protection=ProtectionSettings(longest_run_s=86400.0, rest_s=0.25)))
    relay.asked(True, 0.0)
    relay.history = rest(relay.history, relay.output.protection, 0.5)
    assert relay.rules(True, 1.0) == [Rule.NO_EFFECT]


def test_an_output_without_protection_follows_its_call() -> None:
    relay = Relay(fridge(protection=ProtectionSettings()))
    for second in range(10):
        assert relay.asked(second % 2 == 0, float(second)).on == (second % 2 == 0)
