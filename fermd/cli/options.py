"""What can be said to more than one command: options, and values with units.

Values are °C and seconds inside; °F and other units of time end here.
"""

from __future__ import annotations

import math
import os
import re
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click
from click.shell_completion import CompletionItem

if TYPE_CHECKING:
    from fermd.cli.client import Daemon
    from fermd.control.wording import Unit

USUAL_SITE: Final = Path("/etc/fermd/fermd.toml")
"""Where the service keeps its site file."""

SITE_VARIABLE: Final = "FERMD_SITE"
SOCKET_VARIABLE: Final = "FERMD_SOCKET"

Decorated = Callable[..., Any]


class Temperature(click.ParamType[float]):
    """A temperature: `10`, `10.5C`, `50F`; °C unless it says °F."""

    name = "temperature"
    _WRITTEN = re.compile(r"([+-]?[0-9]{1,4}(?:\.[0-9]{0,6})?) ?°?([cCfF]?)")

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Return °C."""
        if isinstance(value, float):
            return value
        found = self._WRITTEN.fullmatch(str(value).strip())
        if found is None:
            self.fail(
                f"{_shown(value)}: must be a number of °C, such as 10 or 10.5C, or of °F, "
                "such as 50F",
                param,
                ctx,
            )
        number = float(found[1])
        return (number - 32) * 5 / 9 if found[2] in ("f", "F") else number


class Span(click.ParamType[float]):
    """A span of time: `90s`, `30min`, `12h`, `2d`, `1d12h`."""

    name = "time"
    _UNITS_S: Final = {"d": 86400.0, "h": 3600.0, "min": 60.0, "m": 60.0, "s": 1.0}
    _PART = re.compile(r"([0-9]{1,7}(?:\.[0-9]{1,6})?) *(d|h|min|m|s)")

    def __init__(self, signed: bool = False) -> None:
        self._signed = signed

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Return seconds."""
        if isinstance(value, int | float):
            return float(value)
        text = str(value).strip().lower()
        sign = -1.0 if text.startswith("-") and self._signed else 1.0
        rest = text[1:] if text[:1] in ("+", "-") and self._signed else text
        parts = self._PART.findall(rest)
        whole = self._PART.sub("", rest).strip()
        if not parts or whole:
            negative = "; with a minus sign in front it shortens" if self._signed else ""
            self.fail(
                f"{_shown(value)}: must be a number with a unit (s, min, h or d), such as 90s, "
                f"30min, 12h or 1d12h{negative}",
                param,
                ctx,
            )
        return sign * math.fsum(float(number) * self._UNITS_S[unit] for number, unit in parts)


class FilePath(click.ParamType[Path]):
    """A path, whatever is there: whoever opens it says what is wrong with it."""

    name = "path"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Path:
        """Return the path."""
        if not str(value) or "\0" in str(value):
            self.fail(f"{_shown(value)}: is not a possible path", param, ctx)
        return Path(value)

    def shell_complete(
        self,
        ctx: click.Context,  # noqa: ARG002 - click's signature
        param: click.Parameter,  # noqa: ARG002
        incomplete: str,
    ) -> list[CompletionItem]:
        """Let the shell complete it."""
        return [CompletionItem(incomplete, type="file")]


FILE: Final = FilePath()


def json_option(function: Decorated) -> Decorated:
    """`--json`."""
    return click.option("as_json", "--json", is_flag=True, help="Print JSON, for machines.")(
        function
    )


def why_option(function: Decorated) -> Decorated:
    """`--why`: a reason in the person's own words, for the record."""
    return click.option(
        "--why", metavar="TEXT", help="Your reason; stands in the journal beside the change."
    )(function)


def fahrenheit_option(function: Decorated) -> Decorated:
    """`--fahrenheit`; hands the command a `unit`."""
    return click.option(
        "unit",
        "-F",
        "--fahrenheit",
        is_flag=True,
        callback=_unit,
        help="Show °F in place of °C (JSON stays °C).",
    )(function)


def yes_option(function: Decorated) -> Decorated:
    """`--yes`."""
    return click.option(
        "-y", "--yes", is_flag=True, help="Do not ask. Needed where nobody can be asked."
    )(function)


def chamber_option(function: Decorated) -> Decorated:
    """`--chamber`."""
    return click.option(
        "-c",
        "--chamber",
        metavar="NAME",
        shell_complete=_complete_chamber,
        help="The chamber that is meant; may be left out if there is only one.",
    )(function)


def site_option(function: Decorated) -> Decorated:
    """`--site`; the usual place is filled in by whoever needs the file."""
    return click.option(
        "--site",
        metavar="FILE",
        type=FILE,
        envvar=SITE_VARIABLE,
        help=f"The site file. [environment: {SITE_VARIABLE}; usually {USUAL_SITE}]",
    )(function)


def daemon_options(function: Decorated) -> Decorated:
    """`--socket` and `--site`; hands the command a `daemon` to talk to."""

    @click.option(
        "--socket",
        metavar="PATH",
        type=FILE,
        envvar=SOCKET_VARIABLE,
        help=f"The daemon's socket. [environment: {SOCKET_VARIABLE}; usually "
        "/run/fermd/fermd.sock]",
    )
    @click.option(
        "--site",
        metavar="FILE",
        type=FILE,
        envvar=SITE_VARIABLE,
        help=f"Take the socket's path from this site file. [environment: {SITE_VARIABLE}]",
    )
    def connected(*args: Any, socket: Path | None, site: Path | None, **more: Any) -> Any:
        from fermd.cli.client import Daemon, socket_path

        return function(*args, daemon=Daemon(socket_path(socket, site)), **more)

    connected.__doc__ = function.__doc__
    connected.__name__ = function.__name__
    if hasattr(function, "__click_params__"):
        connected.__click_params__ += function.__click_params__  # type: ignore[attr-defined]
    return connected


def chosen_chamber(daemon: Daemon, given: str | None, status: dict[str, Any] | None = None) -> str:
    """Return the chamber that is meant: the one named, or the only one."""
    names = list((status or daemon.status())["chambers"])
    listed = ", ".join(names)
    if given is None and len(names) == 1:
        return str(names[0])
    if given is None:
        raise click.UsageError(f"--chamber: say which chamber is meant; there are {listed}")
    if given not in names:
        raise click.UsageError(f"--chamber = {_shown(given)}: no such chamber; there are {listed}")
    return given


def who() -> str:
    """Return the login name of whoever runs the command; under sudo, of whoever called that."""
    import pwd

    name = os.environ.get("SUDO_USER", "") if os.getuid() == 0 else ""
    if not name:
        try:
            name = pwd.getpwuid(os.getuid()).pw_name
        except KeyError:
            name = f"user {os.getuid()}"
    return name


def _unit(ctx: click.Context, param: click.Parameter, value: bool) -> Unit:  # noqa: ARG001
    from fermd.control.wording import Unit

    return Unit.FAHRENHEIT if value else Unit.CELSIUS


def _complete_chamber(
    ctx: click.Context,
    param: click.Parameter,  # noqa: ARG001 - click's signature
    incomplete: str,
) -> list[CompletionItem]:
    from fermd.cli.client import Daemon, socket_path
    from fermd.config.errors import ConfigError

    try:
        place = socket_path(ctx.params.get("socket"), ctx.params.get("site"))
        names = list(Daemon(place, timeout_s=1.0).status()["chambers"])
    except (click.ClickException, ConfigError):
        return []
    return [CompletionItem(name) for name in names if name.startswith(incomplete)]


def _shown(value: object) -> str:
    from fermd.cli.catalogue import printable

    return f"'{printable(str(value))}'"
