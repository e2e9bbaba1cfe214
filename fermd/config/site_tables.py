"""The tables and keys of a site file.

Probes, outputs and circuits stand in tables of their own, each under its name; a chamber says
which of them are its own, and in what role. So every name is unique in the site by the way that
TOML works.
"""

from __future__ import annotations

from functools import cache
from types import GenericAlias
from typing import Annotated, Any, Final, Literal

from annotated_types import Ge, Le
from pydantic import Field as FileKey
from pydantic import StringConstraints, create_model

from fermd.config.broker import BrokerSettings
from fermd.config.keeping import KeepingSettings
from fermd.config.messages import HeartbeatSettings, MessageSettings, RecipientSettings
from fermd.config.site import BoardSettings, SimulatedSettings
from fermd.config.tables import Table, table_of
from fermd.config.web import WebSettings
from fermd.control.settings import (
    ChamberSettings,
    CircuitSettings,
    Duty,
    OutputKind,
    OutputSettings,
    ProbeSettings,
    ProtectionSettings,
)

PROBE_ID: Final = r"^(10|22|28|3b|42)-[0-9a-f]{12}$"
"""Family code and serial number as Linux names the folder of a 1-Wire thermometer."""

KIND_BY_DUTY: Final = {
    # Cooling is taken for a compressor: that is the one that needs the most protection.
    Duty.HEAT: OutputKind.HEATER,
    Duty.COOL: OutputKind.COMPRESSOR,
    Duty.FAN: OutputKind.FAN,
}

PLACEHOLDERS: Final[dict[str, object]] = {
    "time_zone": "UTC",
    "id": "28-000000000001",
    "gpio": 0,
    "active": "low",
    "duty": "cool",
    "limit_a": 999.0,
    "vessel_probe": "?",
    "host": "broker.local",
}
"""Stand-ins for required keys that are missing or bad, so that the rest can be checked too."""


@cache
def site_table() -> type[Table]:
    """The whole site file."""
    board = table_of(BoardSettings)
    table: type[Table] = create_model(
        "fermd.toml",
        __base__=board,
        __doc__="A site file: one board with its probes, outputs and chambers.",
        probe=_by_name(_probe_table(), "Probes by name."),
        output=_by_name(_output_table(), "Outputs by name."),
        circuit=_by_name(table_of(CircuitSettings, without=("name",)), "Supply circuits by name."),
        chamber=_by_name(_chamber_table(), "Chambers by name."),
        keeping=(
            table_of(KeepingSettings),
            FileKey(default=None),
        ),
        web=(
            table_of(WebSettings),
            FileKey(default=None),
        ),
        broker=(
            table_of(BrokerSettings),
            FileKey(default=None),
        ),
        messages=(
            _messages_table(),
            FileKey(default=None),
        ),
        simulated=(
            table_of(SimulatedSettings),
            FileKey(default=None),
        ),
    )
    return table


def _by_name(table: type[Table], description: str) -> Any:
    kind = GenericAlias(dict, (str, table))
    return kind, FileKey(default_factory=dict, description=description)


def _messages_table() -> type[Table]:
    to = _by_name(table_of(RecipientSettings), "Recipients by name.")
    # Without its table there is no heartbeat: not one with its defaults.
    heartbeat = (table_of(HeartbeatSettings), FileKey(default=None))
    return table_of(MessageSettings, more={"to": to, "heartbeat": heartbeat})


def _probe_table() -> type[Table]:
    return table_of(
        ProbeSettings,
        without=("name", "role"),
        more={
            "id": (
                Annotated[str, StringConstraints(pattern=PROBE_ID)],
                FileKey(
                    description="Its id on the bus, which is the name of its folder in "
                    "/sys/bus/w1/devices.",
                    examples=["28-000006b67845"],
                ),
            )
        },
    )


def _output_table() -> type[Table]:
    return table_of(
        OutputSettings,
        without=("name", "line", "kind", "duty", "protection"),
        more={
            "gpio": (
                Annotated[int, Ge(0), Le(511)],
                FileKey(
                    description="Number of its line on the GPIO chip (on a Raspberry Pi the GPIO "
                    "number, not the number of the pin on the header)."
                ),
            ),
            "active": (
                Literal["low", "high"],
                FileKey(
                    description='The level that switches the relay on. Most relay boards are "low".'
                ),
            ),
            "duty": (
                Annotated[Duty, FileKey(strict=False)],
                FileKey(description=str(Duty.__doc__)),
            ),
            "kind": (
                Annotated[OutputKind, FileKey(strict=False)],
                FileKey(
                    default=None,
                    description="What is wired to it. Left out: a heater for heat, a fan for fan, "
                    "and for cool a compressor, which is protected the most.",
                ),
            ),
            "protection": (
                table_of(ProtectionSettings, defaults=False),
                FileKey(
                    default=None,
                    description="What differs from the protection that its kind has anyway.",
                ),
            ),
        },
    )


def _chamber_table() -> type[Table]:
    return table_of(
        ChamberSettings,
        without=("name", "calendar"),
        more={
            "vessel_probe": (str, FileKey(description="Name of the probe in or on the vessel.")),
            "air_probe": (
                str,
                FileKey(
                    default=None,
                    description="Name of the probe in the chamber's air. Without one the air "
                    "limits cannot be held.",
                ),
            ),
            "watching_probes": (
                list[str],
                FileKey(default=[], description="Names of probes that are only recorded."),
            ),
            "outputs": (
                list[str],
                FileKey(default=[], description="Names of the chamber's outputs."),
            ),
        },
    )
