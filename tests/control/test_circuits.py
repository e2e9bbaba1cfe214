"""Chambers that share a supply: the circuit is never overloaded, and everybody has a turn."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest
from chamber_bench import UNPROTECTED, fridge, heater, settings
from hypothesis import HealthCheck, Phase
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    rule,
    run_state_machine_as_test,
)

from fermd.control import site
from fermd.control.chamber import Inputs
from fermd.control.commands import OverrideOutput
from fermd.control.decision import Decision
from fermd.control.events import OutputChanged
from fermd.control.moment import Moment
from fermd.control.protection import History
from fermd.control.reading import Sample
from fermd.control.reasons import Reason, Rule
from fermd.control.settings import (
    ChamberSettings,
    CircuitSettings,
    Duty,
    OutputKind,
    ProtectionSettings,
    SiteSettings,
)
from fermd.control.site import PATIENCE_S, SiteState
from fermd.control.state import first_state

GARAGE = "garage"
SHORT = ProtectionSettings(minimum_run_s=60.0, minimum_off_s=60.0)


def cold(name: str, rated_a: float, **given: Any) -> ChamberSettings:
    """A chamber with a single output that always wants to cool."""
    output = fridge(
        **{
            "name": f"{name} fridge",
            "line": name,
            "circuit": GARAGE,
            "rated_a": rated_a,
            "protection": UNPROTECTED,
            "kind": OutputKind.VALVE,
        }
        | given
    )
    return settings(name=name, outputs=(output,), air_probe=None)


class Site:
    """Several chambers on the bench."""

    def __init__(self, limit_a: float, *chambers: ChamberSettings) -> None:
        circuits = (CircuitSettings(GARAGE, limit_a),)
        self.settings = SiteSettings(chambers, circuits)
        self.mono_s = 1e5
        known = {duty: History() for duty in Duty}
        self.state = SiteState({one.name: first_state(one, self.mono_s, known) for one in chambers})
        self.decisions: Mapping[str, Decision] = {}
        for _ in range(4):
            self.tick()

    def tick(self, wanted: Mapping[str, bool] | None = None, after_s: float = 10.0) -> set[str]:
        """One tick; what is wanted of each fridge by hand. Returns the chambers that cool."""
        self.mono_s += after_s
        inputs = {
            one.name: Inputs(
                {"beer": (Sample(self.mono_s, 18.0),)},
                [
                    OverrideOutput(output.duty, wanted[one.name], 14400.0)
                    for output in one.outputs
                    if wanted is not None and one.name in wanted
                ],
            )
            for one in self.settings.chambers
        }
        now = Moment(self.mono_s)
        self.state, self.decisions = site.step(self.state, self.settings, inputs, now)
        return self.cooling()

    def cooling(self) -> set[str]:
        return {
            name
            for name, decision in self.decisions.items()
            if any(output.on for output in decision.outputs)
        }

    def rules(self, name: str) -> list[Rule]:
        return [reason.rule for reason in self.decisions[name].outputs[0].reasons]


EVERYBODY = {"one": True, "two": True, "three": True}


def test_fridges_that_fit_on_a_circuit_run_together() -> None:
    site_of = Site(6.0, cold("one", 2.0), cold("two", 2.0), cold("three", 2.0))
    assert site_of.tick(EVERYBODY) == {"one", "two", "three"}


def test_a_start_that_would_overload_its_circuit_waits_and_says_so() -> None:
    site_of = Site(5.0, cold("one", 2.0), cold("two", 2.0), cold("three", 2.0))
    assert site_of.tick(EVERYBODY) == {"one", "two"}
    assert site_of.rules("three") == [Rule.SUPPLY_LIMIT]
    assert site_of.decisions["three"].outputs[0].reasons[0].number == 1.0


def test_what_runs_already_is_not_taken_off_for_another() -> None:
    site_of = Site(2.0, cold("one", 2.0), cold("two", 2.0))
    assert site_of.tick({"two": True}) == {"two"}
    for _ in range(50):
        assert site_of.tick({"one": True, "two": True}) == {"two"}


def test_what_stops_makes_room_from_the_next_tick_on() -> None:
    """However the relays are switched within a tick, the circuit carries it."""
    site_of = Site(2.0, cold("one", 2.0), cold("two", 2.0))
    site_of.tick({"one": True})
    site_of.tick({"two": True})
    assert site_of.tick({"one": False}) == set()
    assert site_of.tick() == {"two"}


def test_a_chamber_late_in_the_site_file_has_its_turn() -> None:
    """Three fridges that would always run, and room for one of them."""
    ran = dict.fromkeys(EVERYBODY, 0)
    limited = ProtectionSettings(longest_run_s=600.0, rest_s=60.0)
    chambers = [cold(name, 2.0, protection=limited) for name in EVERYBODY]
    site_of = Site(2.0, *chambers)
    site_of.tick(EVERYBODY)
    for _ in range(1200):
        for name in site_of.tick():
            ran[name] += 1
    assert min(ran.values()) > 300


def test_a_chamber_that_waits_longest_is_asked_first() -> None:
    site_of = Site(2.0, cold("one", 2.0), cold("two", 2.0), cold("three", 2.0))
    site_of.tick({"two": True})
    site_of.tick({"three": True})
    site_of.tick({"one": True})
    site_of.tick({"two": False})
    assert site_of.tick() == {"three"}


def test_a_large_load_is_not_starved_by_small_ones_that_take_turns() -> None:
    site_of = Site(10.0, cold("one", 8.0), cold("two", 4.0), cold("three", 4.0))
    wanted = {"one": True, "two": True, "three": True}
    site_of.tick({"two": True, "three": True})
    waited_s = 0.0
    while "one" not in site_of.cooling():
        # The small ones stop for a moment by turns, never both at once.
        turn = "two" if round(waited_s / 10.0) % 10 < 5 else "three"
        site_of.tick(wanted | {turn: round(waited_s / 10.0) % 5 != 0})
        waited_s += 10.0
        assert waited_s < PATIENCE_S + 1200.0
    assert waited_s >= PATIENCE_S


def test_a_load_that_no_circuit_could_carry_keeps_nobody_else_waiting() -> None:
    site_of = Site(3.0, cold("one", 9.0), cold("two", 2.0))
    site_of.tick({"one": True})
    for _ in range(300):
        site_of.tick()
    assert site_of.tick({"two": True}) == {"two"}


def test_an_output_on_a_circuit_without_a_limit_waits_for_nobody() -> None:
    site_of = Site(1.0, cold("one", 9.0, circuit=None), cold("two", 9.0, circuit="cellar"))
    assert site_of.tick({"one": True, "two": True}) == {"one", "two"}


def test_two_outputs_of_one_chamber_share_its_circuit_too() -> None:
    cool = fridge(circuit=GARAGE, rated_a=2.0, protection=UNPROTECTED, kind=OutputKind.VALVE)
    fan = heater(name="fan", duty=Duty.FAN, circuit=GARAGE, rated_a=2.0, protection=UNPROTECTED)
    both = settings(name="both", outputs=(cool, fan), air_probe=None)
    site_of = Site(3.0, both)
    site_of.tick({"both": True})
    assert [output.on for output in site_of.decisions["both"].outputs] == [True, False]


def test_when_the_daemon_stops_every_chamber_is_off() -> None:
    site_of = Site(6.0, cold("one", 2.0), cold("two", 2.0))
    site_of.tick({"one": True, "two": True})
    state, events = site.let_go(site_of.state, site_of.settings, Rule.STOPPING, site_of.mono_s)
    assert {name: len(happened) for name, happened in events.items()} == {"one": 1, "two": 1}
    assert not any(h.on for one in state.chambers.values() for h in one.histories.values())


def test_the_relays_that_let_go_by_themselves_are_told_of_chamber_by_chamber() -> None:
    site_of = Site(6.0, cold("one", 2.0), cold("two", 2.0))
    site_of.tick({"one": True, "two": True})
    state, events = site.let_go(
        site_of.state, site_of.settings, Rule.LEASE_EXPIRED, site_of.mono_s + 3.0, {"two"}
    )
    assert events["one"] == ()
    (change,) = events["two"]
    assert isinstance(change, OutputChanged)
    assert (change.line, change.on, change.reasons) == ("two", False, (Reason(Rule.LEASE_EXPIRED),))
    assert state.chambers["one"].histories[Duty.COOL].on
    stopped = state.chambers["two"].histories[Duty.COOL]
    assert (stopped.on, stopped.stopped_mono_s) == (False, site_of.mono_s + 3.0)


def test_a_chamber_of_which_nothing_came_in_is_stepped_all_the_same() -> None:
    for limit_a in (6.0, None):
        site_of = Site(6.0, cold("one", 2.0), cold("two", 2.0))
        if limit_a is None:
            site_of.settings = SiteSettings(site_of.settings.chambers)
        state, decisions = site.step(
            site_of.state, site_of.settings, {}, Moment(site_of.mono_s + 10.0)
        )
        assert set(decisions) == {"one", "two"}
        assert {one.last_mono_s for one in state.chambers.values()} == {site_of.mono_s + 10.0}


def test_a_load_that_has_waited_its_patience_keeps_the_whole_circuit() -> None:
    site_of = Site(4.0, cold("one", 4.0), cold("two", 0.5), cold("three", 0.5))
    site_of.tick({"two": True})
    site_of.tick({"one": True})
    site_of.tick(after_s=PATIENCE_S - 10.0)
    assert site_of.tick({"three": True, "two": False}, after_s=10.0) == set()
    assert site_of.rules("three") == [Rule.SUPPLY_LIMIT]
    assert site_of.tick() == {"one"}


class OverloadedError(AssertionError):
    """The loads on a circuit add up to more than its limit."""


class CircuitMachine(RuleBasedStateMachine):
    """Chambers with arbitrary loads and wishes on one circuit."""

    @initialize(
        loads_a=st.lists(st.sampled_from([0.5, 1.0, 2.5, 4.0, 7.0]), min_size=2, max_size=4),
        limit_a=st.sampled_from([1.0, 4.0, 8.0]),
        protection=st.sampled_from([UNPROTECTED, SHORT]),
    )
    def is_wired(
        self, loads_a: list[float], limit_a: float, protection: ProtectionSettings
    ) -> None:
        self.limit_a = limit_a
        self.loads_a = {f"chamber {number}": load_a for number, load_a in enumerate(loads_a)}
        chambers = [
            cold(name, load_a, protection=protection) for name, load_a in self.loads_a.items()
        ]
        self.site = Site(limit_a, *chambers)
        self.before = self.site.cooling()

    @rule(
        wanted=st.dictionaries(
            st.sampled_from([f"chamber {number}" for number in range(4)]), st.booleans()
        ),
        ticks=st.integers(1, 8),
        after_s=st.sampled_from([5.0, 70.0, 1000.0]),
    )
    def wishes_change(self, wanted: dict[str, bool], ticks: int, after_s: float) -> None:
        for _ in range(ticks):
            cooling = self.site.tick(wanted, after_s)
            # At the worst, relays go on before those of the same tick go off.
            load_a = sum(self.loads_a[name] for name in cooling | self.before)
            if load_a > self.limit_a:
                raise OverloadedError(f"{load_a} A on a circuit of {self.limit_a} A")
            self.before = cooling

    @rule(rule=st.sampled_from([Rule.LEASE_EXPIRED, Rule.STOPPING]))
    def relays_let_go(self, rule: Rule) -> None:
        self.site.state, _ = site.let_go(
            self.site.state, self.site.settings, rule, self.site.mono_s
        )
        self.before = set()


TestNoCircuitIsEverOverloaded = pytest.mark.slow(CircuitMachine.TestCase)


@pytest.mark.slow
def test_a_site_that_does_not_count_starts_is_found_to_overload(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(site, "_charged", lambda left_a, *_: left_a)
    bounded = hypothesis_settings(
        max_examples=200,
        derandomize=True,
        database=None,
        deadline=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    with pytest.raises(OverloadedError):
        run_state_machine_as_test(CircuitMachine, settings=bounded)
