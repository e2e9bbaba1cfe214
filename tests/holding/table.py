"""The comparison as a table of text, and what it rests on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import isinf

from figures import Figures
from scenario import DAY_S, HOUR_S, Scenario
from verdict import swept, verdicts

ASSUMED = """\
Errors are of the true beer, in °C, over the holds alone: a hold counts from an ample time after its
step on (twice the quickest way there and 12 h), the same for everybody. over/under: the furthest
beyond a new target before the beer is back at it, and after that on the other side; settled: hours
from a step until the beer stays within 0.3 °C for 6 h (– never); in band: share of the holds within
0.3 °C; starts: of cooling and of heat a day. :even: with its knob set to as many starts in holds as
fermd takes, or the fewest more. Ahead: no larger error, no further beyond 0.3 °C after a step, no
more starts in holds.
Lags: probe in a thermowell 41 s, taped to the wall 156 s, in still air 290 s, in moved air 50 s.
Noise: 0.03 °C (standard deviation) on every reading, then the steps of a 12-bit probe (0.0625 °C);
a reading every 10 s. All have the same probes, noise, outputs and protections."""

HEADER = (
    f"{'':12} {'RMS':>6} {'95 %':>6} {'over':>6} {'under':>6} {'settled':>7} {'ramp':>6} "
    f"{'in band':>7} {'starts':>12} {'off, s':>7} {'kWh/d':>6}"
)


def pane(scenario: Scenario, results: Mapping[str, Figures], *, sweep: bool = False) -> str:
    """Return one scenario: a line a contestant, and how fermd stands against the others."""
    lines = [f"{scenario.title}  [{scenario.name}, {scenario.lasts_s / DAY_S:.1f} days]", HEADER]
    lines += [_line(name, each) for name, each in results.items()]
    lines += [f"  {words}" for words in (swept if sweep else verdicts)(results)]
    return "\n".join([*lines, ""])


COLUMNS = {"fermd": "fermd", "on-off": "on-off", "pid": "PID", "best": "best possible"}
"""Who has a column in the short table, and its heading."""


def as_markdown(scenarios: Sequence[Scenario], results: Mapping[str, Mapping[str, Figures]]) -> str:
    """Return the short table in Markdown: error in holds, starts a day, how near the best."""
    who = [name for name in COLUMNS if all(name in by_who for by_who in results.values())]
    lines = [
        "| | " + " | ".join(COLUMNS[name] for name in who) + " | fermd : best |",
        "|---|" + "--:|" * (len(who) + 1),
    ]
    for scenario in scenarios:
        each = results[scenario.name]
        cells = [f"{each[name].rms_c:.2f} · {_starts_a_day(each[name]):.0f}" for name in who]
        ratio = f"{each['fermd'].rms_c / each['best'].rms_c:.2f}" if "best" in who else ""
        lines.append(f"| {scenario.title} | " + " | ".join(cells) + f" | {ratio} |")
    return "\n".join([*lines, ""])


def _starts_a_day(each: Figures) -> float:
    return each.cool_starts_a_day + each.heat_starts_a_day


def _line(contestant: str, each: Figures) -> str:
    settled = "–" if isinf(each.settled_s) else f"{each.settled_s / HOUR_S:.1f}"
    ramp = "" if each.ramp_rms_c is None else f"{each.ramp_rms_c:.2f}"
    off = "" if each.shortest_off_s is None else f"{each.shortest_off_s:.0f}"
    starts = f"{each.cool_starts_a_day:.1f} + {each.heat_starts_a_day:.1f}"
    return (
        f"{contestant:12} {each.rms_c:6.3f} {each.p95_c:6.3f} {each.overshoot_c:6.2f} "
        f"{each.undershoot_c:6.2f} {settled:>7} {ramp:>6} {each.within_share:7.0%} "
        f"{starts:>12} {off:>7} {each.kwh_a_day:6.2f}"
    )
