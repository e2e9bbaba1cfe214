"""Site files to start from: a short one, and one with every key, its meaning and its default.

The long one is made from the settings themselves, so it cannot fall behind them. A line that
begins with `#` and no space is a key at its default; take the `#` away to change it.
"""

from __future__ import annotations

import textwrap
from collections.abc import Mapping
from enum import Enum
from pathlib import Path
from typing import Any, Final

from fermd.config.errors import value_text
from fermd.config.site_tables import KIND_BY_DUTY, site_table
from fermd.config.tables import Table
from fermd.control.calendar import CalendarTime
from fermd.control.settings import PROTECTION_BY_KIND, Duty

SHORT_SITE: Final = """\
time_zone = "Europe/Vienna"
pin_factory = "lgpio"
chip = "pinctrl-bcm2711"    # as `gpiodetect` shows it in []; this is a Raspberry Pi 4

[probe.vessel]
id = "28-000006b67845"      # the probe's folder in /sys/bus/w1/devices

[probe.air]
id = "28-0000071a2b3c"

[output.fridge]
gpio = 17
active = "low"              # the relay is on while the pin is low
duty = "cool"

[output.belt]
gpio = 27
active = "low"
duty = "heat"

[chamber.lager]
vessel_probe = "vessel"
air_probe = "air"
outputs = ["fridge", "belt"]
"""
"""One chamber with a fridge and a heat belt."""

WIDTH: Final = 96


def example_site() -> str:
    """The text of a site file with every key that there is; it loads as it stands."""
    lines = [
        "# A site file of fermd: one board with its probes, outputs and chambers.",
        "# Lines that begin with # and a space explain; those with # and no space are keys at",
        "# their defaults: take the # away to change one. Temperatures are in °C, times in s.",
        "",
    ]
    site = site_table()
    lines += _keys(
        site,
        {"time_zone": "Europe/Vienna", "pin_factory": "lgpio", "chip": "pinctrl-bcm2711"},
        shown={"site_name": "cellar"},
        skipped=(
            *("probe", "output", "circuit", "chamber", "keeping"),
            *("web", "broker", "messages", "simulated"),
        ),
    )
    for name, probe_id in (("vessel", "28-000006b67845"), ("air", "28-0000071a2b3c")):
        lines += _table(f"probe.{name}", _named(site, "probe"), {"id": probe_id}, name != "vessel")
    for name, gpio, duty, rated_a in (
        ("fridge", 17, Duty.COOL, 1.2),
        ("belt", 27, Duty.HEAT, 0.2),
        ("fan", 22, Duty.FAN, 0.1),
    ):
        lines += _output(site, name, gpio, duty, rated_a)
    lines += _table("circuit.wall", _named(site, "circuit"), {"limit_a": 8.0})
    lines += _table(
        "chamber.lager",
        _named(site, "chamber"),
        {"vessel_probe": "vessel", "air_probe": "air", "outputs": ["fridge", "belt", "fan"]},
    )
    keeping = _table(
        "keeping", _inner(site, "keeping"), {}, shown={"backup_folder": "/mnt/stick/fermd"}
    )
    lines += [f"#{line}" if line.startswith("[") else line for line in keeping]
    web = _table(
        "web",
        _inner(site, "web"),
        {},
        shown={
            "listen": "0.0.0.0:8080",
            "metrics_token_file": "/var/lib/fermd/metrics-token",
            "certfile": "/etc/fermd/fullchain.pem",
            "keyfile": "/etc/fermd/key.pem",
        },
    )
    lines += [f"#{line}" if line.startswith("[") else line for line in web]
    broker = _table(
        "broker",
        _inner(site, "broker"),
        {},
        shown={
            "host": "broker.local",
            "port": 8883,
            "tls": True,
            "cafile": "/etc/fermd/ca.pem",
            "certfile": "/etc/fermd/board.pem",
            "keyfile": "/etc/fermd/board-key.pem",
            "secrets_file": "/var/lib/fermd/broker.toml",
            "client_id": "fermd-cellar",
        },
    )
    lines += [f"#{line}" if line.startswith("[") else line for line in broker]
    lines += _messages(site)
    simulated = _table("simulated", _inner(site, "simulated"), {})
    lines += [f"#{line}" if line.startswith("[") else line for line in simulated]
    return "\n".join(lines).replace("\n\n\n", "\n\n").strip() + "\n"


def _messages(site: type[Table]) -> list[str]:
    table = _inner(site, "messages")
    lines = _table(
        "messages",
        table,
        {},
        shown={"units": "C", "quiet_from": "22:00", "quiet_until": "07:00", "digest_at": "08:00"},
        skipped=("to", "heartbeat"),
    )
    lines += _table("messages.heartbeat", _inner(table, "heartbeat"), {})
    for name, shown in (
        ("anna", {"address": "anna", "chambers": ("lager",)}),
        ("lamp", {"command": ("/usr/local/bin/lamp", "red"), "least": "critical", "quiet": False}),
    ):
        skipped = tuple({"address", "command"} - set(shown))
        recipient = _named(table, "to")
        lines += _table(f"messages.to.{name}", recipient, {}, name != "anna", shown, skipped)
    return [f"#{line}" if line.startswith("[") else line for line in lines]


def _output(site: type[Table], name: str, gpio: int, duty: Duty, rated_a: float) -> list[str]:
    kind = KIND_BY_DUTY[duty]
    usual = PROTECTION_BY_KIND[kind]
    table = _named(site, "output")
    protection = _inner(table, "protection")
    values = {key: getattr(usual, key) for key in protection.model_fields}
    return [
        *_table(
            f"output.{name}",
            table,
            {"gpio": gpio, "active": "low", "duty": duty, "circuit": "wall", "rated_a": rated_a},
            name != "fridge",
            shown={"kind": kind},
            skipped=("protection",) if duty is Duty.FAN else ("protection", "run_on_s"),
        ),
        "",
        f"# The protection that kind {value_text(kind.value)} has anyway.",
        f"[output.{name}.protection]",
        *_keys(protection, {}, name != "fridge", shown=values),
    ]


def _table(
    header: str,
    table: type[Table],
    live: Mapping[str, object],
    bare: bool = False,
    shown: Mapping[str, object] | None = None,
    skipped: tuple[str, ...] = (),
) -> list[str]:
    """A table with the tables in it; `bare` leaves out explanations that were given before."""
    inner = {key: _inner(table, key) for key in table.model_fields if _is_table(table, key)}
    explained = [] if bare else _comment(table.__doc__ or "")
    lines = ["", *explained, f"[{header}]"]
    lines += _keys(table, live, bare, shown, (*inner, *skipped))
    for key, below in inner.items():
        if key not in skipped:
            told = {"duty": Duty.COOL} if key == "fail_safe" else None
            lines += _table(f"{header}.{key}", below, {}, bare, told)
    return lines


def _keys(
    table: type[Table],
    live: Mapping[str, object],
    bare: bool = False,
    shown: Mapping[str, object] | None = None,
    skipped: tuple[str, ...] = (),
) -> list[str]:
    """The keys of one table: those with a value first, then the others at their defaults."""
    lines = []
    for key in sorted(table.model_fields, key=lambda key: key not in live):
        if key in skipped:
            continue
        if not bare:
            lines += _comment(table.meaning(key))
        default = table.model_fields[key].default
        value = live.get(key, (shown or {}).get(key, default))
        lines.append(f"{'' if key in live else '#'}{key} = {_toml(value)}")
    return lines


def _toml(value: object) -> str:
    match value:
        case float() if value.is_integer():
            return str(int(value))
        case Enum() | Path() | CalendarTime():
            return value_text(str(value))
        case _:
            return value_text(value)


def _comment(text: str) -> list[str]:
    plain = " ".join(text.replace("`", "").split())
    return [f"# {line}" for line in textwrap.wrap(plain, WIDTH - 2, break_long_words=False)]


def _named(table: type[Table], group: str) -> type[Table]:
    """The table that stands under each name of a group."""
    annotation: Any = table.model_fields[group].annotation
    kind: type[Table] = annotation.__args__[1]
    return kind


def _inner(table: type[Table], key: str) -> type[Table]:
    annotation: Any = table.model_fields[key].annotation
    kind: type[Table] = annotation
    return kind


def _is_table(table: type[Table], key: str) -> bool:
    annotation = table.model_fields[key].annotation
    return isinstance(annotation, type) and issubclass(annotation, Table)
