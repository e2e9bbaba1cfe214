"""The settings of control from the tables of a site file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from fermd.config.broker import BrokerSettings
from fermd.config.keeping import KeepingSettings
from fermd.config.messages import MessageSettings, RecipientSettings
from fermd.config.site import (
    SIMULATED_JOURNAL,
    BoardSettings,
    RelayLine,
    SimulatedSettings,
    SiteFile,
    line_of,
)
from fermd.config.site_tables import KIND_BY_DUTY
from fermd.config.tables import settings_from
from fermd.config.web import WebSettings
from fermd.config.zone_calendar import ZoneCalendar
from fermd.control.settings import (
    PROTECTION_BY_KIND,
    ChamberSettings,
    CircuitSettings,
    OutputKind,
    OutputSettings,
    ProbeRole,
    ProbeSettings,
    ProtectionSettings,
    SiteSettings,
)


def site_from(site: Any, path: Path) -> SiteFile:
    """The whole site; relative paths start at the site file's folder."""
    board = settings_from(site, BoardSettings)
    journal_path = board.journal_path
    simulated = None
    if site.simulated is not None:
        simulated = settings_from(site.simulated, SimulatedSettings)
        if "journal_path" not in site.model_fields_set:
            journal_path = SIMULATED_JOURNAL
    folder = path.absolute().parent
    calendar = ZoneCalendar(board.zone)
    return SiteFile(
        path=path,
        time_zone=board.time_zone,
        site_name=board.site_name,
        pin_factory=board.pin_factory,
        chip=board.chip,
        sample_period_s=board.sample_period_s,
        w1_root=folder / board.w1_root,
        journal_path=folder / journal_path,
        socket_path=folder / board.socket_path,
        simulated=simulated,
        web=_web(site, folder),
        broker=_broker(site, folder),
        keeping=_keeping(site, folder),
        messages=_messages(site, folder),
        settings=SiteSettings(
            tuple(
                replace(chamber_settings(site, name), calendar=calendar) for name in site.chamber
            ),
            tuple(
                settings_from(circuit, CircuitSettings, name=name)
                for name, circuit in site.circuit.items()
            ),
        ),
        probe_ids={name: probe.id for name, probe in site.probe.items()},
        relays=tuple(
            RelayLine(
                line_of(_chip(site), output.gpio),
                name,
                _chip(site),
                output.gpio,
                output.active == "high",
            )
            for name, output in site.output.items()
        ),
    )


def _keeping(site: Any, folder: Path) -> KeepingSettings:
    if site.keeping is None:
        return KeepingSettings()
    keeping = settings_from(site.keeping, KeepingSettings)
    if keeping.backup_folder is None:
        return keeping
    return replace(keeping, backup_folder=folder / keeping.backup_folder)


def _web(site: Any, folder: Path) -> WebSettings | None:
    if site.web is None:
        return None
    web = settings_from(site.web, WebSettings)
    return replace(
        web,
        password_file=folder / web.password_file,
        metrics_token_file=_in(folder, web.metrics_token_file),
        certfile=_in(folder, web.certfile),
        keyfile=_in(folder, web.keyfile),
    )


def _broker(site: Any, folder: Path) -> BrokerSettings | None:
    if site.broker is None:
        return None
    broker = settings_from(site.broker, BrokerSettings)
    return replace(
        broker,
        cafile=_in(folder, broker.cafile),
        certfile=_in(folder, broker.certfile),
        keyfile=_in(folder, broker.keyfile),
        secrets_file=_in(folder, broker.secrets_file),
    )


def _in(folder: Path, path: Path | None) -> Path | None:
    return None if path is None else folder / path


def _messages(site: Any, folder: Path) -> MessageSettings | None:
    if site.messages is None:
        return None
    to = {name: settings_from(one, RecipientSettings) for name, one in site.messages.to.items()}
    messages = settings_from(site.messages, MessageSettings, to=to)
    units = messages.units or ("C" if site.web is None else site.web.units)
    return replace(messages, secrets_file=folder / messages.secrets_file, units=units)


def chamber_settings(site: Any, name: str) -> ChamberSettings:
    """A chamber with its probes and outputs; those that are not in the file are left out."""
    chamber = site.chamber[name]
    probes: Mapping[str, Any] = site.probe

    def probe(probe_name: str, role: ProbeRole) -> ProbeSettings:
        return settings_from(probes[probe_name], ProbeSettings, name=probe_name, role=role)

    vessel = chamber.vessel_probe
    air = chamber.air_probe
    return settings_from(
        chamber,
        ChamberSettings,
        name=name,
        calendar=None,  # needs a time zone that was found good: see site_from
        vessel_probe=probe(vessel, ProbeRole.CONTROLLING)
        if vessel in probes
        else ProbeSettings(vessel, ProbeRole.CONTROLLING),
        air_probe=probe(air, ProbeRole.LIMITING) if air in probes else None,
        watching_probes=tuple(
            probe(watching, ProbeRole.WATCHING)
            for watching in chamber.watching_probes
            if watching in probes
        ),
        outputs=tuple(
            _output_settings(site, output) for output in chamber.outputs if output in site.output
        ),
    )


def kind_of(output: Any) -> OutputKind:
    """What is wired to an output, said or by its duty."""
    kind: OutputKind = output.kind or KIND_BY_DUTY[output.duty]
    return kind


def _output_settings(site: Any, name: str) -> OutputSettings:
    output = site.output[name]
    kind = kind_of(output)
    return settings_from(
        output,
        OutputSettings,
        name=name,
        line=line_of(_chip(site), output.gpio),
        kind=kind,
        protection=_protection(output.protection, kind),
    )


def _protection(table: Any, kind: OutputKind) -> ProtectionSettings:
    usual = PROTECTION_BY_KIND[kind]
    if table is None:
        return usual
    return replace(usual, **{key: getattr(table, key) for key in table.model_fields_set})


def _chip(site: Any) -> str | None:
    return None if site.simulated is not None else str(site.chip)
