"""Messages to people: the keys of the table [messages]."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Final, Literal

from annotated_types import Ge, Le, MinLen

from fermd.config.house_unit import UnitName
from fermd.control.calendar import CalendarTime
from fermd.control.events import Severity

USUAL_DIGEST_AT: Final = CalendarTime(8, 0)
"""After breakfast and before work: when a list of small things is read (common practice, no
source)."""

MOST_RECIPIENTS: Final = 20


@dataclass(frozen=True, slots=True)
class RecipientSettings:
    """A recipient of messages: an address in the secrets file, or a command on this board."""

    address: Annotated[str, MinLen(1)] | None = None
    """Under which key its address stands in the secrets file. Left out: under its own name."""
    command: tuple[str, ...] = ()
    """A program and its arguments, run for every message in place of sending to an address. No
    shell: each argument is handed over as it stands. The message comes on standard input and in
    FERMD_TITLE, FERMD_TEXT, FERMD_SEVERITY and FERMD_NUMBER."""
    least: Severity = Severity.NOTICE
    """The least severity that it is told of: "notice" is everything, "critical" only what is
    going wrong at this moment."""
    chambers: tuple[str, ...] = ()
    """Only what concerns these chambers, and the board itself. Left out or empty: all."""
    quiet: bool = True
    """Whether the quiet hours hold for it. A lamp or a log has none to keep."""


@dataclass(frozen=True, slots=True)
class HeartbeatSettings:
    """A request to a URL at an interval, so that a dead board is noticed by its silence.

    Whoever listens there sounds the alarm when nothing comes. It is made only while control does
    its rounds: a board that answers but does not control is silent too.
    """

    address: Annotated[str, MinLen(1)] = "heartbeat"
    """Under which key its URL stands in the secrets file."""
    every_s: Annotated[float, Ge(30), Le(86400)] = 300.0
    """Interval, s. Let the other side wait for three of them (common practice, no source)."""
    method: Literal["GET", "POST"] = "GET"
    """How it is asked for (RFC 9110)."""


@dataclass(frozen=True, slots=True)
class MessageSettings:
    """Messages to people. Without this table fermd tells nobody.

    What can spoil a batch is sent at once, by night too, and again until somebody acknowledges it;
    other alarms wait for the end of the quiet hours; small things for the digest.
    """

    secrets_file: Path = Path("/var/lib/fermd/addresses.toml")
    """The file with the addresses: `name = "URL"`, a line each. They hold passwords, so nobody but
    its owner may read it."""
    units: UnitName | None = None
    """The scale of temperatures. Left out: that of [web], else "C"."""
    quiet_from: CalendarTime | None = None
    """When the quiet hours begin, by the brewer's clock: "22:00". Left out: there are none ..."""
    quiet_until: CalendarTime | None = None
    """... and when they end: "07:00"."""
    digest_at: CalendarTime | None = None
    """When small things are sent, all in one message: "18:00", or "fri 18:00" for once a week. Left
    out: at 08:00."""
    gather_s: Annotated[float, Ge(5), Le(3600)] = 60.0
    """Alarms are gathered for so long and told in one message, s."""
    repeat_s: Annotated[float, Ge(60), Le(86400)] = 900.0
    """What can spoil a batch is told again after so long, s, until somebody acknowledges it ..."""
    repeat_growth: Annotated[float, Ge(1), Le(10)] = 2.0
    """... each wait is so many times the one before (1: always the same) ..."""
    longest_repeat_s: Annotated[float, Ge(60), Le(604800)] = 14400.0
    """... but none is longer than this, s."""
    time_limit_s: Annotated[float, Ge(5), Le(300)] = 45.0
    """How long one attempt to send may take, and a command may run, s."""
    heartbeat: HeartbeatSettings | None = None
    """Left out: there is no heartbeat."""
    to: Mapping[str, RecipientSettings] = field(default_factory=dict)
    """Recipients by name."""

    @property
    def digest_rule(self) -> CalendarTime:
        """When small things are sent."""
        return self.digest_at or USUAL_DIGEST_AT
