"""The figures of the comparison, on traces whose figures are known beforehand, and its command."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import replace
from math import inf, pi, sin
from pathlib import Path
from trace import Flags, Series, Trace, switchings

import numpy as np
import pytest
from best_possible import COARSE
from contestants import NobodyCalledSoError, checked
from drawn import drawn
from figures import figures
from run import run
from scenario import DAY_S, HOUR_S, Leg, Scenario
from scenarios import oversized_compressor
from thermostats.as_shipped import AsShipped
from thermostats.guarded import Guarded
from thermostats.on_off import OnOff
from verdict import ahead, swept

from fermd.control import profile_run

OVERSIZED = oversized_compressor()


def planned(*legs: Leg, start_c: float = 20.0) -> Scenario:
    return replace(OVERSIZED, start_c=start_c, plan=legs)


def traced(scenario: Scenario, beer_c: Series, cool_on: Flags | None = None) -> Trace:
    t_s = np.arange(round(scenario.lasts_s / scenario.period_s)) * scenario.period_s
    off = np.zeros(t_s.size, dtype=np.bool_)
    cool = off if cool_on is None else cool_on
    starts_s, offs_s = switchings(cool, t_s)
    return Trace(
        scenario=scenario.name,
        contestant="known",
        seed=1,
        t_s=t_s,
        target_c=np.array([scenario.target_c(float(at_s)) for at_s in t_s]),
        beer_c=beer_c,
        wall_c=beer_c,
        air_c=beer_c,
        vessel_probe_c=beer_c,
        air_probe_c=beer_c,
        cool_on=cool,
        heat_on=off,
        ambient_c=beer_c,
        heat_w=np.zeros(t_s.size),
        door_open=off,
        electric_j=3.6e6,
        cool_starts_s=starts_s,
        heat_starts_s=np.zeros(0),
        cool_offs_s=offs_s,
    )


def times_s(scenario: Scenario) -> Series:
    return np.arange(round(scenario.lasts_s / scenario.period_s)) * scenario.period_s


def test_a_sine_of_error_has_the_rms_and_the_95th_percentile_of_a_sine() -> None:
    # RMS a/√2; |sin| is below sin(0.95 π/2) for 95 % of the time, and below 0.3 of 0.4 for
    # (2/π) asin(0.75) = 53.99 %.
    scenario = planned(Leg(20.0, 2 * DAY_S))
    beer_c = 20.0 + 0.4 * np.sin(2 * pi * times_s(scenario) / 7200.0)
    found = figures(scenario, traced(scenario, beer_c))
    assert found.rms_c == pytest.approx(0.4 / 2**0.5, rel=1e-3)
    assert found.p95_c == pytest.approx(0.4 * sin(0.95 * pi / 2), rel=1e-3)
    assert found.within_share == pytest.approx(0.5399, abs=5e-3)
    assert found.overshoot_c == found.settled_s == 0.0
    assert found.ramp_rms_c is None
    assert found.kwh_a_day == pytest.approx(0.5)


def test_a_hold_counts_only_after_its_time_to_settle() -> None:
    scenario = planned(Leg(18.0, DAY_S, settle_s=6 * HOUR_S))
    beer_c = np.where(times_s(scenario) < 6 * HOUR_S, 20.0, 18.1)
    assert figures(scenario, traced(scenario, beer_c)).rms_c == pytest.approx(0.1)


@pytest.mark.parametrize(("start_c", "target_c"), [(20.0, 18.0), (16.0, 18.0)])
def test_overshoot_is_beyond_the_target_and_undershoot_is_back_again(
    start_c: float, target_c: float
) -> None:
    # There after 4 h, 0.5 °C beyond until 5 h, 0.2 °C back until 6 h, then near.
    scenario = planned(Leg(target_c, 2 * DAY_S, settle_s=DAY_S), start_c=start_c)
    way = np.sign(target_c - start_c)
    hours = times_s(scenario) / HOUR_S
    beyond_c = np.select([hours < 4, hours < 5, hours < 6], [-2.0, 0.5, -0.2], 0.1)
    found = figures(scenario, traced(scenario, target_c + way * beyond_c))
    assert found.overshoot_c == pytest.approx(0.5)
    assert found.undershoot_c == pytest.approx(0.2)
    # The last time outside of 0.3 °C is just before 5 h.
    assert found.settled_s == pytest.approx(5 * HOUR_S)
    (step,) = found.steps
    assert (step.from_c, step.to_c) == (start_c, target_c)


def test_what_is_within_the_band_for_less_than_six_hours_has_not_settled() -> None:
    scenario = planned(Leg(18.0, DAY_S, settle_s=12 * HOUR_S))
    beer_c = np.where(times_s(scenario) % (5 * HOUR_S) < 100.0, 18.4, 18.0)
    assert figures(scenario, traced(scenario, beer_c)).settled_s == inf


def test_a_beer_that_follows_a_ramp_late_is_off_by_its_delay_times_the_rate() -> None:
    # 2 °C in a day, 3 h late: 0.25 °C; beyond the ramp's end it is on its target.
    scenario = planned(Leg(20.0, DAY_S), Leg(22.0, 3 * DAY_S, ramp_s=DAY_S, settle_s=DAY_S))
    late_c = np.array([scenario.target_c(float(at_s)) for at_s in times_s(scenario)])
    ramps = (times_s(scenario) >= DAY_S) & (times_s(scenario) < 2 * DAY_S)
    found = figures(scenario, traced(scenario, np.where(ramps, late_c - 0.25, late_c)))
    assert found.ramp_rms_c == pytest.approx(0.25)
    assert found.rms_c == pytest.approx(0.0)
    assert found.settled_s == 0.0


def test_an_on_off_thermostat_on_a_pure_integrator_makes_a_triangle() -> None:
    """Between target and target + d the error is even over 0..d: RMS d/√3, 95 % below 0.95 d.

    It warms at a and cools at b, so that a cycle takes d/a + d/b, and the pause is d/a.
    """
    d_c, warms, cools = 0.5, 0.5 / 7200.0, 0.5 / 3600.0
    scenario = planned(Leg(20.0, 10 * DAY_S))
    law, beer_c, on = OnOff(d_c), 20.0, False
    beers, ran = [], []
    for at_s in times_s(scenario):
        on = law.call(float(at_s), beer_c, 20.0).cool
        beers.append(beer_c)
        ran.append(on)
        beer_c += (-cools if on else warms) * scenario.period_s
    found = figures(scenario, traced(scenario, np.array(beers), np.array(ran)))
    step_c = cools * scenario.period_s
    assert found.rms_c == pytest.approx(d_c / 3**0.5, abs=2 * step_c)
    assert found.p95_c == pytest.approx(0.95 * d_c, abs=2 * step_c)
    assert found.cool_starts_a_day == pytest.approx(DAY_S / 10_800.0, rel=0.02)
    assert found.shortest_off_s == pytest.approx(7200.0, abs=2 * scenario.period_s)


def test_a_rival_is_behind_the_same_protections() -> None:
    # So fine a differential would switch with every reading.
    scenario = planned(Leg(18.0, 0.4 * DAY_S), start_c=18.2)
    trace = run(scenario, Guarded(scenario, OnOff(0.01)), "on-off:0.01", 1)
    assert trace.cool_starts_s.size > 5
    assert trace.shortest_off_s is not None
    assert trace.shortest_off_s >= 300.0
    stops_s = trace.t_s[~trace.cool_on & np.concatenate(([False], trace.cool_on[:-1]))]
    assert min(stop - start for start, stop in zip(trace.cool_starts_s, stops_s, strict=False)) >= (
        180.0
    )
    for start_s in trace.cool_starts_s:
        hour = (trace.cool_starts_s >= start_s) & (trace.cool_starts_s < start_s + HOUR_S)
        assert hour.sum() <= 6
    assert not (trace.cool_on & trace.heat_on).any()


def test_fermd_runs_the_plan_that_it_is_judged_by() -> None:
    scenario = planned(
        Leg(18.0, HOUR_S), Leg(20.0, 3 * HOUR_S, ramp_s=2 * HOUR_S), Leg(15.0, HOUR_S), start_c=18.0
    )
    fermd = AsShipped(scenario)
    told: list[float] = []

    class Listening:
        def decide(self, at_s: float, seen: object) -> object:
            on = fermd.decide(at_s, seen)  # type: ignore[arg-type]
            target = profile_run.target(fermd.state)
            if target is not None:
                told.append(target.cool_c)
            return on

    trace = run(scenario, Listening(), "fermd", 1)  # type: ignore[arg-type]
    # A profile's clock runs from the tick before its start, a second earlier.
    assert np.abs(np.array(told) - trace.target_c).max() < 0.001


def test_the_same_seed_gives_the_same_noise_to_everybody() -> None:
    scenario = planned(Leg(18.0, 600.0), start_c=18.0)
    one, other = (run(scenario, AsShipped(scenario), "fermd", seed) for seed in (1, 2))
    rival = run(scenario, Guarded(scenario, OnOff()), "on-off", 1)
    assert (one.read_c == rival.read_c).all()
    assert not (one.read_c == other.read_c).all()


def test_scenarios_are_drawn_from_their_seed_alone() -> None:
    assert [each.title for each in drawn(7, 4)] == [each.title for each in drawn(7, 4)]
    assert len({each.title for seed in range(5) for each in drawn(seed, 4)}) == 20


def test_what_is_drawn_can_be_searched_in_whole_blocks() -> None:
    for scenario in drawn(7, 4):
        assert all(leg.lasts_s % COARSE.block_s == 0 for leg in scenario.plan)


def test_level_is_ahead_and_a_worse_figure_is_named() -> None:
    scenario = planned(Leg(20.0, DAY_S))
    near, far = (
        figures(scenario, traced(scenario, np.full(times_s(scenario).size, beer_c)))
        for beer_c in (20.1, 20.2)
    )
    assert all(ahead(near, near).values())
    assert ahead(far, near) == {"error": False, "overshoot": True, "starts": True}
    lazy = replace(near, held_cool_starts_a_day=1.0)
    busy = replace(near, held_cool_starts_a_day=9.0)
    fermd = replace(far, held_cool_starts_a_day=5.0)
    on_off, pid = swept({"fermd": fermd, "on-off:0.5": busy, "pid:60": lazy, "pid:30": busy})
    assert on_off == "on-off: every setting takes more starts than fermd"
    assert pid == "pid: not beaten, of those with no more starts: pid:60 (error)"
    _, beaten = swept({"fermd": near, "pid:60": replace(far, cool_starts_a_day=0.0)})
    assert beaten == "pid: fermd is ahead of every setting that takes no more starts (1 of 1)"


@pytest.mark.parametrize("name", ["", "fermd:1", "pid:", "pid:x", "on-off:-1", "somebody"])
def test_a_name_that_is_nobodys_is_refused(name: str) -> None:
    with pytest.raises(NobodyCalledSoError, match="on-off"):
        checked(name)


def test_the_command_prints_the_table_and_draws_the_picture(tmp_path: Path) -> None:
    here = Path(__file__).parent
    picture, figures_file = tmp_path / "holding.png", tmp_path / "holding.json"
    chosen = ["--fresh", "0", "--only", "fridge-fan", "--contestants", "fermd,on-off"]
    short = tmp_path / "holding.md"
    written_to = ["--picture", str(picture), "--json", str(figures_file), "--markdown", str(short)]
    done = subprocess.run(
        [sys.executable, str(here / "compare.py"), *chosen, *written_to],
        env={**os.environ, "PYTHONPATH": str(here.parents[1])},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert "Upright fridge with a fan" in done.stdout
    assert "fermd against on-off" in done.stdout
    assert "0.0625 °C" in done.stdout
    written = json.loads(figures_file.read_text())["scenarios"]["fridge-fan"]
    assert 0.0 < written["fermd"]["rms_c"] < 0.5
    assert written["on-off"]["shortest_off_s"] >= 300.0
    assert picture.read_bytes().startswith(b"\x89PNG")
    heading, _, line = short.read_text().splitlines()
    assert heading.startswith("| | fermd |")
    assert line.startswith(f"| Upright fridge with a fan | {written['fermd']['rms_c']:.2f} · ")
