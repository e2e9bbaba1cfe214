"""The lines of `fermd status`, from the daemon's answer."""

from __future__ import annotations

import datetime as dt
from typing import Any, Final
from zoneinfo import ZoneInfo

from rich.console import RenderableType
from rich.text import Text

from fermd.cli.readback import worded
from fermd.cli.screen import STYLE_BY_SEVERITY, block
from fermd.control.wording import Unit, span

STALE_S: Final = 90.0
"""A status older than this, s, is not believed: the longest sample period is 60 s."""

_STEP_KINDS: Final = {
    "hold": "hold",
    "hold-until": "hold until its time",
    "soak": "soak",
    "ramp": "ramp",
    "jump": "jump",
    "free-rise": "free rise",
    "wait": "wait for a person",
    "schedule": "schedule",
    "final-hold": "final hold",
}

Plain = dict[str, Any]


def chamber_parts(name: str, chamber: Plain, status: Plain, unit: Unit) -> list[RenderableType]:
    """Everything about one chamber."""
    now = worded(chamber, unit)
    words, style = all_right(now, status)
    rows: list[tuple[str, str | Text]] = [("Beer", _beer(now))]
    if now["air"] is not None:
        rows.append(("Air", _reading(now["air"])))
    rows += [(probe, _reading(seen)) for probe, seen in now["watching"].items()]
    rows += [("Target", f"{now['target_words']}; {now['mode_words']}")]
    rows += [("Call", now["call_words"])]
    rows += [(output["name"], _output(output)) for output in now["outputs"]]
    rows.append(("Next", "\n".join(coming(now, status))))
    if now["learned_words"]:
        rows.append(("Learned", "\n".join(now["learned_words"])))
    alarms = [Text(alarm["words"], STYLE_BY_SEVERITY[alarm["severity"]]) for alarm in now["alarms"]]
    rows.append(("Alarms", Text("\n").join(alarms) if alarms else "none"))
    return [Text.assemble((name, "bold"), ": ", (words, style)), block(rows)]


def all_right(chamber: Plain, status: Plain) -> tuple[str, str]:
    """Answer whether everything is all right with a chamber, in words and in a colour."""
    if status["age_s"] > STALE_S:
        return "not known: the control loop has not run for " + span(status["age_s"]), "bold red"
    severities = {alarm["severity"] for alarm in (*chamber["alarms"], *status["alarms"])}
    if "critical" in severities:
        return "needs you now", STYLE_BY_SEVERITY["critical"]
    if not chamber["vessel"]["trusted"]:
        return "the beer's temperature is not known", STYLE_BY_SEVERITY["warning"]
    if "warning" in severities:
        return "needs a look", STYLE_BY_SEVERITY["warning"]
    waits = chamber["profile"] is not None and chamber["profile"]["prompt"]
    if waits and chamber["mode"] == "profile":
        return "all right, and waits for you", STYLE_BY_SEVERITY["notice"]
    if chamber["mode"] == "off":
        return "all right, and switched off", "green"
    return "all right", "green"


def coming(chamber: Plain, status: Plain) -> list[str]:
    """What comes next and when."""
    planned = chamber.get("planned_start")
    if planned is not None:
        when = time_of_day(planned["at_utc_s"], status)
        return [f"profile {planned['profile']} starts at {when}", *_of_profile(chamber, status)]
    return _of_profile(chamber, status) or ["nothing is planned"]


def _of_profile(chamber: Plain, status: Plain) -> list[str]:
    profile = chamber["profile"]
    if profile is None:
        return []
    if chamber["mode"] == "off" or chamber["mode"] == "hand":
        return [f"the profile stands at {_step(profile)}; `fermd resume` goes on with it"]
    lines = [f"now {_step(profile)}, for {span(profile['elapsed_s'])} so far"]
    if chamber["mode"] == "paused":
        return [*lines, "nothing before `fermd resume`: its clock stands still"]
    return [*lines, *_after(profile, status)]


def board_lines(status: Plain) -> list[RenderableType]:
    """What concerns no chamber: alarms of the board and trouble with the journal."""
    lines: list[RenderableType] = [
        Text.assemble("Board: ", (alarm["words"], STYLE_BY_SEVERITY[alarm["severity"]]))
        for alarm in status["alarms"]
    ]
    if status["journal"] is not None:
        lines.append(Text(f"Journal: {status['journal']['detail']}", "yellow"))
    return lines


def age(status: Plain) -> Text:
    """How old this is, and since when the daemon has been in charge."""
    words = f"This is {span(status['age_s'])} old; in charge for {span(status['up_s'])}"
    if not status["clock_is_set"]:
        words += "; the clock is not known to be set"
    return Text(words + ".", "dim" if status["age_s"] <= STALE_S else "bold red")


def _beer(chamber: Plain) -> Text:
    found = _reading(chamber["vessel"])
    found.stylize("bold")
    return found


def _reading(seen: Plain) -> Text:
    if seen["trusted"]:
        return Text(seen["words"])
    return Text(seen["words"], STYLE_BY_SEVERITY["warning"])


def _output(output: Plain) -> Text:
    on = Text("on", "bold") if output["on"] else Text("off")
    since = "" if output["for_s"] is None else f" for {span(output['for_s'])}"
    return Text.assemble(on, f"{since}; {output['words']}")


def _step(profile: Plain) -> str:
    kind = _STEP_KINDS.get(profile["kind"], profile["kind"])
    named = f" {profile['step_name']!r}" if profile["step_name"] else ""
    return f"step {profile['step']} of {profile['steps']} ({kind}{named})"


def _after(profile: Plain, status: Plain) -> list[str]:
    last = profile["step"] >= profile["steps"]
    what = "the end of the profile" if last else f"step {profile['step'] + 1}"
    following = profile.get("next")
    if following is not None:
        named = f" {following['name']!r}" if following["name"] else ""
        what += f" ({_STEP_KINDS.get(following['kind'], following['kind'])}{named})"
    left_s = profile["remaining_s"]
    match profile["kind"]:
        case "final-hold":
            return ["nothing: the last step holds without end"]
        case "schedule":
            return ["goes by the calendar, without end"]
        case "hold-until" if left_s is None:
            lines = [f"{what} by the calendar, once the clock is set"]
        case "wait":
            return [f"waits for you: {profile['prompt']}; then `fermd confirm`"]
        case "jump":
            lines = [f"{what} as soon as the beer is there"]
        case "soak" if left_s is not None:
            lines = [f"{what} in {span(left_s)}{_at(left_s, status)} if the beer stays there"]
        case "free-rise" if left_s is not None:
            lines = [f"{what} in {span(left_s)}{_at(left_s, status)} or at the ceiling"]
        case _ if left_s is not None:
            lines = [f"{what} in {span(left_s)}{_at(left_s, status)}"]
        case _:
            lines = [what]
    if profile["later_s"] and not last:
        lines.append(f"the steps after this one take {span(profile['later_s'])}, as far as known")
    return lines


def _at(left_s: float, status: Plain) -> str:
    """When that is by the clock, if the clock can be believed."""
    if not status["clock_is_set"]:
        return ""
    return f" ({time_of_day(status['wall_utc_s'] + left_s, status)})"


def time_of_day(utc_s: float, status: Plain) -> str:
    """By the clock that the site lives by, which is the one that times are given in."""
    when = dt.datetime.fromtimestamp(utc_s, ZoneInfo(status["time_zone"]))
    return f"{when:%a %d %b, %H:%M}"
