"""What can be said of a batch that is planned: the options of preview, rehearse and size.

`plan_options` hands the command a `said` of everything; `plan_setup` makes a plan of it. Defaults
are not here: what is left out stays None, and whoever fills it in says so.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click

from fermd.cli.options import FILE, Decorated, Span, Temperature, site_option
from fermd.cli.start import complete_profile


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """What was said on the command line; None for what was not."""

    profile: str
    folder: Path | None
    site: Path | None
    chamber: str | None
    start: str | None
    zone: str | None
    volume_l: float | None
    vessel_l: float | None
    original: float | None
    final: float | None
    attenuation: float | None
    abv: float | None
    yeast: str | None
    sealed: bool
    finished: bool | None
    beer_c: float | None
    room_c: float | None
    swing_c: float | None
    room_file: Path | None
    lag_s: float | None
    cooler_w: float | None
    heater_w: float | None
    cabinet_l: float | None
    confirm_after_s: float | None


class Amount(click.ParamType[float]):
    """A positive number, with or without its one unit: `20`, `20l`, `100 W`."""

    def __init__(self, unit: str, low: float, high: float) -> None:
        self.name = unit
        self._unit, self._low, self._high = unit, low, high
        self._written = re.compile(
            rf"([0-9]{{1,7}}(?:\.[0-9]{{0,6}})?) ?(?:{re.escape(unit)})?", re.I
        )

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Return the number."""
        if isinstance(value, float):
            return value
        found = self._written.fullmatch(str(value).strip())
        number = float(found[1]) if found is not None else float("nan")
        if not self._low <= number <= self._high:
            from fermd.cli.catalogue import printable

            self.fail(
                f"'{printable(str(value))}': must be a number of {self._unit} from "
                f"{self._low:g} to {self._high:g}",
                param,
                ctx,
            )
        return number


_OPTIONS = (
    click.argument("profile", shell_complete=complete_profile),
    click.option(
        "--folder",
        type=FILE,
        help="Look for profiles of your own in this folder. [usually /etc/fermd/profiles]",
    ),
    site_option,
    click.option("-c", "--chamber", metavar="NAME", help="The chamber of the site that is meant."),
    click.option("--start", metavar="TIME", help='"2026-03-06 18:00", "fri 18:00"; else now.'),
    click.option("--zone", metavar="NAME", help="Time zone, if there is no site file."),
    click.option("--volume", "volume_l", type=Amount("l", 0.1, 5000.0), help="Beer, l."),
    click.option("--vessel", "vessel_l", type=Amount("l", 0.1, 20000.0), help="Vessel, l."),
    click.option(
        "--original", type=Amount("°P", 0.5, 40.0), help="Original gravity: 1.048, or 12 (°P)."
    ),
    click.option(
        "--final", type=click.FloatRange(-5.0, 40.0), help="Final gravity: 1.010, or 2.5 (°P)."
    ),
    click.option("--attenuation", type=Amount("%", 0.0, 120.0), help="In place of it, in %."),
    click.option("--abv", type=Amount("%", 0.0, 20.0), help="In place of it, % by volume."),
    click.option("--yeast", type=click.Choice(["lager", "ale"]), help="Else by the first target."),
    click.option("--sealed", is_flag=True, help="The vessel is shut, and has no airlock."),
    click.option(
        "--finished/--fermenting", default=None, help="The beer has fermented already, or not yet."
    ),
    click.option("--beer", "beer_c", type=Temperature(), help="Its temperature at the start."),
    click.option("--room", "room_c", type=Temperature(), help="Mean temperature of the room."),
    click.option(
        "--swing", "swing_c", type=Amount("°C", 0.0, 30.0), help="Warmer by day, colder by night."
    ),
    click.option("--room-file", type=FILE, help="The room over time, as CSV: time,temp_c."),
    click.option(
        "--lag", "lag_s", type=Span(), help="How long the room's walls keep out what is outside."
    ),
    click.option("--cooler", "cooler_w", type=Amount("W", 1.0, 1e5), help="Cooling power, W."),
    click.option("--heater", "heater_w", type=Amount("W", 1.0, 1e5), help="Heating power, W."),
    click.option("--cabinet", "cabinet_l", type=Amount("l", 5.0, 50000.0), help="Inside, l."),
    click.option(
        "--confirm-after",
        "confirm_after_s",
        type=Span(),
        help="How long a step waits for a person. [12h]",
    ),
)


def plan_options(function: Decorated) -> Decorated:
    """Everything that can be said of a plan; hands the command one `said`."""

    def with_said(*args: Any, **more: Any) -> Any:
        said = Said(**{name: more.pop(name) for name in Said.__slots__})
        return function(*args, said=said, **more)

    with_said.__doc__ = function.__doc__
    with_said.__name__ = function.__name__
    if hasattr(function, "__click_params__"):
        with_said.__click_params__ = list(function.__click_params__)  # type: ignore[attr-defined]
    wrapped: Decorated = with_said
    for option in reversed(_OPTIONS):
        wrapped = option(wrapped)
    return wrapped
