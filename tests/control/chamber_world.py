"""What a chamber under the machine may be like: its settings, its orders and its little weather.

The numbers are short, so that an hour of machine time meets what a month of beer would.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from chamber_bench import air_probe, fan, fridge, heater, vessel_probe
from hypothesis import strategies as st

from fermd.control import commands
from fermd.control.alarms import AlarmKind
from fermd.control.commands import Command
from fermd.control.reading import ProbeFault, Sample
from fermd.control.settings import (
    ChamberSettings,
    CoolBandSettings,
    Duty,
    EffectSettings,
    FailSafeSettings,
    HeatBandSettings,
    LimitSettings,
    ProtectionSettings,
    crossed,
)
from fermd.control.steps import (
    FinalHold,
    FreeRise,
    Hold,
    Jump,
    Profile,
    Ramp,
    Soak,
    WaitForPerson,
)

COMPRESSORS = [
    ProtectionSettings(180, 120, 12, 180, longest_run_s=1500, rest_s=600),
    ProtectionSettings(180, 120, 12, 180, longest_run_s=7200, rest_s=600),
    ProtectionSettings(300, 180, 3, 300, longest_run_s=3600, rest_s=900),
    ProtectionSettings(240, 120, 2, 600, longest_run_s=8 * 3600, rest_s=1800),
]
HEATERS = [
    ProtectionSettings(longest_run_s=1200, rest_s=300),
    ProtectionSettings(30, 30, 0, 240, longest_run_s=4 * 3600, rest_s=900),
    ProtectionSettings(60, 240, 5, 0, longest_run_s=3600, rest_s=60),
]


@st.composite
def chambers(draw: st.DrawFn) -> ChamberSettings:
    """A chamber with a fridge, most often with a heater, an air probe and a fan."""
    effect = EffectSettings(within_s=draw(st.sampled_from([300.0, 900.0])), wrong_way_c=0.5)
    outputs = [fridge(protection=draw(st.sampled_from(COMPRESSORS)), effect=effect)]
    if draw(st.integers(0, 4)):
        outputs.insert(0, heater(protection=draw(st.sampled_from(HEATERS)), effect=effect))
    if draw(st.booleans()):
        outputs.append(fan(run_on_s=120.0))
    duties = [output.duty for output in outputs if output.duty is not Duty.FAN]
    fail_safe = FailSafeSettings(draw(st.sampled_from([None, *duties])), run_s=240.0, every_s=600.0)
    chamber = ChamberSettings(
        name="lager",
        vessel_probe=vessel_probe(bad_run=3, good_run=2, stale_s=60.0, offset_c=0.25, jump_c=3.0),
        air_probe=air_probe(bad_run=3, good_run=2, jump_c=3.0) if draw(st.integers(0, 3)) else None,
        outputs=tuple(outputs),
        heat=HeatBandSettings(0.2, draw(st.sampled_from([0.1, 0.3]))),
        cool=CoolBandSettings(0.2, draw(st.sampled_from([0.1, 0.3]))),
        changeover_s=draw(st.sampled_from([0.0, 120.0, 900.0])),
        limits=LimitSettings(
            air_lowest_c=draw(st.sampled_from([-2.0, 6.0])),
            air_highest_c=draw(st.sampled_from([26.0, 40.0])),
            carry_on_without_air=draw(st.booleans()),
        ),
        fail_safe=fail_safe,
    )
    assert not crossed(chamber)
    return chamber


@st.composite
def other_numbers(draw: st.DrawFn, chamber: ChamberSettings) -> ChamberSettings:
    """The same chamber after its site file was edited; start to start stays as it is."""
    outputs = []
    for output in chamber.outputs:
        was = output.protection
        more_s = draw(st.sampled_from([0.0, 0.0, min(60.0, was.minimum_run_s - 120.0)]))
        if output.duty is not Duty.COOL:
            more_s = 0.0
        outputs.append(
            replace(
                output,
                protection=replace(
                    was,
                    minimum_off_s=was.minimum_off_s + max(0.0, more_s),
                    minimum_run_s=was.minimum_run_s - max(0.0, more_s),
                    starts_per_hour=was.starts_per_hour and max(1, was.starts_per_hour - 1),
                ),
            )
        )
    return replace(
        chamber,
        outputs=tuple(outputs),
        changeover_s=draw(st.sampled_from([chamber.changeover_s, 300.0])),
        limits=replace(
            chamber.limits, freezing_point_c=draw(st.sampled_from([-2.2, -1.0])), air_lowest_c=-1.0
        ),
    )


targets = st.sampled_from([-1.5, 0.0, 4.0, 12.0, 16.0, 18.0, 20.0, 30.0])
spans_s = st.sampled_from([15.0, 60.0, 100.0, 600.0, 5000.0])
steps_with_an_end = st.one_of(
    st.builds(Hold, targets, spans_s),
    st.builds(Soak, targets, spans_s, st.sampled_from([0.5, 3.0])),
    st.builds(Ramp, targets, st.sampled_from([24.0, 480.0])),
    st.builds(Jump, targets, st.sampled_from([0.5, 5.0])),
    st.builds(FreeRise, st.sampled_from([10.0, 16.0]), st.sampled_from([18.0, 24.0]), spans_s),
    st.builds(WaitForPerson, targets, st.just("taste it")),
)
profiles = st.builds(
    lambda steps, last: Profile("batch", (*steps, *last)),
    st.lists(steps_with_an_end, min_size=1, max_size=5),
    st.lists(st.builds(FinalHold, targets), max_size=1),
)

orders: st.SearchStrategy[Command] = st.one_of(
    st.builds(commands.SetTarget, st.one_of(targets, st.sampled_from([-9.0, 99.0, float("nan")]))),
    st.builds(commands.StartProfile, profiles),
    st.builds(commands.StartProfile, profiles),
    st.builds(commands.GoToStep, st.integers(-1, 6)),
    st.builds(commands.ChangeStepTarget, targets),
    st.builds(commands.ChangeRest, profiles),
    st.sampled_from(
        [
            commands.SwitchOff(),
            commands.PauseProfile(),
            commands.ResumeProfile(),
            commands.SkipStep(),
            commands.ConfirmStep(),
            commands.StopProfile(),
            commands.ReturnToPlan(),
            commands.CancelPlan(),
            commands.EndOverride(),
            commands.AcknowledgeAlarm(AlarmKind.LONGEST_RUN.value, "fridge"),
            commands.AcknowledgeAlarm(AlarmKind.VESSEL_PROBE_LOST.value, "beer"),
        ]
    ),
    st.builds(commands.ExtendStep, st.sampled_from([-300.0, -20.0, 45.0, 1e9, float("nan")])),
    st.builds(
        commands.OverrideOutput,
        st.sampled_from(list(Duty)),
        st.booleans(),
        st.sampled_from([-1.0, 20.0, 400.0, 3600.0, 14400.0, 1e6]),
    ),
)


class Trouble:
    """What may be wrong with a probe for a while."""

    NONE = "none"
    FAULTS = "faults"
    EVERY_OTHER = "every other sample"
    SILENT = "no samples"
    SPIKE = "a spike"
    OUT_OF_RANGE = "out of range"
    ALL = (NONE, NONE, NONE, NONE, FAULTS, EVERY_OTHER, SILENT, SPIKE, OUT_OF_RANGE)


@dataclass
class Weather:
    """The chamber's air and beer, moved on by a first-order model of each."""

    vessel_c: float = 17.0
    air_c: float = 17.0
    ambient_c: float = 20.0
    fridge_works: bool = True
    heater_works: bool = True
    ferments_c_per_h: float = 0.0

    def passes(self, for_s: float, *, heats: bool, cools: bool) -> None:
        """Let time pass; long times are cut short of the model's own time constants."""
        left_s = min(for_s, 7200.0)
        while left_s > 0:
            step_s = min(left_s, 300.0)
            left_s -= step_s
            towards_c = self.ambient_c
            towards_c += 30.0 if heats and self.heater_works else 0.0
            towards_c -= 35.0 if cools and self.fridge_works else 0.0
            self.air_c += (towards_c - self.air_c) * step_s / 1800.0
            self.vessel_c += (self.air_c - self.vessel_c) * step_s / 5400.0
            self.vessel_c += self.ferments_c_per_h * step_s / 3600.0

    def sample(self, mono_s: float, temp_c: float, trouble: str, number: int) -> tuple[Sample, ...]:
        """What a probe at this temperature shows, on the sixteenths of a 12-bit probe."""
        if trouble == Trouble.SILENT:
            return ()
        if trouble == Trouble.FAULTS or (trouble == Trouble.EVERY_OTHER and number % 2):
            return (Sample(mono_s, fault=list(ProbeFault)[number % 4]),)
        if trouble == Trouble.OUT_OF_RANGE:
            return (Sample(mono_s, 85.0),)
        if trouble == Trouble.SPIKE and number % 7 == 3:
            return (Sample(mono_s, temp_c + 20.0),)
        return (Sample(mono_s, round(temp_c * 16) / 16),)
