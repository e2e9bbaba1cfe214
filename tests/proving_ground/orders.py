"""The brewer's commands of a world: drawn from a seed, kept as plain values, made when asked."""

from __future__ import annotations

from pathlib import Path
from random import Random
from typing import Any

from fermd.config.profile_file import load_profile
from fermd.control import commands
from fermd.control.calendar import WEEKDAYS, CalendarTime
from fermd.control.commands import Command
from fermd.control.settings import DAY_S, HOUR_S, Duty
from fermd.control.steps import (
    FinalHold,
    FreeRise,
    Hold,
    HoldUntil,
    Jump,
    Profile,
    Ramp,
    Soak,
    Step,
    WaitForPerson,
)

PROFILES = Path(__file__).parents[2] / "profiles"
SHIPPED = tuple(sorted(path.stem for path in PROFILES.glob("*.toml")))

WHO = "brewer"


def draw_order(random: Random, span_s: float) -> dict[str, Any]:
    """Draw one command, possible or not, sensible or not."""
    what = random.choice(
        (
            "SetTarget",
            "SetTarget",
            "SwitchOff",
            "StartProfile",
            "StartProfile",
            "PlanStart",
            "CancelPlan",
            "GoToStep",
            "ChangeStepTarget",
            "ChangeRest",
            "ReturnToPlan",
            "PauseProfile",
            "ResumeProfile",
            "ResumeProfile",
            "SkipStep",
            "ExtendStep",
            "ConfirmStep",
            "StopProfile",
            "OverrideOutput",
            "OverrideOutput",
            "OverrideOutput",
            "EndOverride",
        )
    )
    order: dict[str, Any] = {"what": what}
    if what in ("SetTarget", "ChangeStepTarget"):
        order["target_c"] = random.choice([-1.5, 0.0, 2.0, 6.0, 12.0, 18.0, 20.0, 24.0, 60.0])
    if what in ("StartProfile", "PlanStart", "ChangeRest"):
        order["profile"] = draw_profile(random, span_s)
    if what == "PlanStart":
        order["in_s"] = random.choice([600.0, 3 * HOUR_S, DAY_S])
    if what == "GoToStep":
        order["step"] = random.randint(0, 5)
    if what == "ExtendStep":
        order["by_s"] = random.choice([-6.0, -1.0, 2.0, 12.0]) * HOUR_S
    if what == "OverrideOutput":
        order["duty"] = random.choice([duty.value for duty in Duty])
        order["on"] = random.random() < 0.6
        order["for_s"] = random.choice([60.0, 600.0, HOUR_S, 4 * HOUR_S, 1e6])
    return order


def draw_profile(random: Random, span_s: float) -> str | dict[str, Any]:
    """Draw a shipped profile by its name, or the seed of one to be made."""
    if random.random() < 0.45:
        return random.choice(SHIPPED)
    return {"seed": random.randrange(10**6), "span_s": span_s}


def profile_of(plain: str | dict[str, Any]) -> Profile:
    """Return a profile that is shipped, or made from its seed. Raises ConfigError, OSError."""
    if isinstance(plain, str):
        return load_profile(PROFILES / f"{plain}.toml")
    return _made(Random(plain["seed"]), plain["seed"], plain["span_s"])


def _made(random: Random, number: int, span_s: float) -> Profile:
    count = random.randint(2, 7)
    steps = [_step(random, span_s / count) for _ in range(count)]
    if random.random() < 0.5:
        steps.append(FinalHold(random.choice([1.0, 4.0, 12.0, 18.0])))
    return Profile(f"made-{number}", tuple(steps))


def _step(random: Random, mean_s: float) -> Step:
    target_c = random.choice([0.5, 4.0, 10.0, 12.0, 16.0, 18.0, 20.0, 23.0])
    for_s = round(mean_s * random.choice([0.1, 0.3, 0.6, 1.0]))
    match random.randrange(10):
        case 0 | 1 | 2:
            return Hold(target_c, for_s)
        case 3 | 4:
            return Soak(target_c, for_s, random.choice([0.5, 1.0, 3.0]))
        case 5 | 6:
            return Ramp(target_c, random.choice([1.0, 4.0, 12.0, 48.0]))
        case 7:
            return random.choice([Jump(target_c, 1.0), WaitForPerson(target_c, "taste it")])
        case 8:
            return FreeRise(target_c, target_c + random.choice([2.0, 5.0]), for_s)
        case _:
            weekday = random.choice([None, None, random.randrange(len(WEEKDAYS))])
            hour, minute = random.choice([(2, 30), (2, 0), (18, 0), (0, 0)])
            return HoldUntil(target_c, CalendarTime(hour, minute, weekday=weekday))


def command_of(order: dict[str, Any], now_utc_s: float) -> Command:
    """Make the command. Raises ConfigError, OSError for a profile that cannot be read."""
    what = order["what"]
    kind = getattr(commands, what)
    given = {key: order[key] for key in ("target_c", "step", "by_s", "on", "for_s") if key in order}
    if "duty" in order:
        given["duty"] = Duty(order["duty"])
    if "profile" in order:
        given["profile"] = profile_of(order["profile"])
    if "in_s" in order:
        given["at_utc_s"] = now_utc_s + order["in_s"]
    made: Command = kind(**given, who=WHO)
    return made
