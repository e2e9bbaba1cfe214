"""Contradictions in a site file whose every key is fine by itself.

Each check is told of one subject, adds its faults, and keeps quiet about values that had to be
put in for bad ones.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Final
from zoneinfo import ZoneInfo, available_timezones

from fermd.config.broker import BrokerSettings
from fermd.config.broker_checks import check_broker
from fermd.config.errors import ABSENT, any_of, key_text
from fermd.config.mending import Checked
from fermd.config.messages_checks import check_messages
from fermd.config.names import NAME, NAME_WORDS
from fermd.config.site import LEASE_PERIODS, lease_s
from fermd.config.site_build import chamber_settings, kind_of
from fermd.config.tables import settings_from
from fermd.config.web import WebSettings
from fermd.config.web_checks import check_web
from fermd.config.wording import Key, nearest
from fermd.control.settings import Duty, Objection, OutputKind, crossed

LONGEST_SOCKET_PATH_BYTES: Final = 107
"""Linux keeps 108 bytes for the path of a Unix socket, with the zero at its end (unix(7))."""

_NOT_IANA: Final = ("right/", "posix/", "localtime", "posixrules", "Factory")


def check_site(site: Checked) -> None:
    """Add every contradiction to the site's faults."""
    _check_board(site)
    _check_names(site)
    _check_ids_and_pins(site)
    _check_ownership(site)
    for name in _tables(site, "output"):
        _check_output(site, name)
    _check_leases(site)
    _check_web(site)
    _check_broker(site)
    _check_messages(site)
    for name in _tables(site, "chamber"):
        _check_chamber(site, name)


def _check_board(site: Checked) -> None:
    board: Any = site.table
    if site.is_sound("time_zone"):
        _check_time_zone(site, board.time_zone)
    if board.site_name is not None and not NAME.fullmatch(board.site_name):
        site.object_to(["site_name"], board.site_name, NAME_WORDS)
    if board.simulated is None and "simulated" not in site.data:
        if board.pin_factory is None and site.is_sound("pin_factory"):
            site.object_to(["pin_factory"], ABSENT, 'is missing; must be "lgpio"')
        if board.chip is None and site.is_sound("chip"):
            why = "is missing; must be the label of the GPIO chip, which `gpiodetect` shows in []"
            site.object_to(["chip"], ABSENT, why)
    for key in ("journal_path", "socket_path", "w1_root"):
        _check_path(site, key, getattr(board, key))
    if board.keeping is not None and board.keeping.backup_folder is not None:
        _check_path(site, "backup_folder", board.keeping.backup_folder, "keeping")
    if site.data.get("chamber") in (None, {}):
        site.object_to(["chamber"], ABSENT, "is missing; a site has at least one [chamber.NAME]")


def _check_time_zone(site: Checked, name: str) -> None:
    try:
        ZoneInfo(name)
        known = not name.startswith(_NOT_IANA)
    except (ValueError, OSError, LookupError):
        known = False
    if not known:
        meant = nearest(name, sorted(available_timezones()))
        hint = f"; did you mean {any_of([meant])}?" if meant else ""
        why = 'must be the IANA name of a time zone, like "Europe/Vienna"' + hint
        site.object_to(["time_zone"], name, why)


def _check_path(site: Checked, key: str, path: Path, *above: str) -> None:
    where = (*above, key)
    if not site.is_sound(*where):
        return
    text = str(path)
    if "\0" in text or text in ("", "."):
        site.object_to(where, text, "must be the path of a file or folder")
    elif text.startswith("~"):
        site.object_to(where, text, "must be a whole path; ~ is not replaced by a home folder")
    elif key == "socket_path" and len(text.encode()) > LONGEST_SOCKET_PATH_BYTES:
        why = f"must have at most {LONGEST_SOCKET_PATH_BYTES} bytes, as Linux takes no longer one"
        site.object_to(where, text, why)


def _check_web(site: Checked) -> None:
    table: Any = site.table
    if table.web is not None:
        check_web(site, settings_from(table.web, WebSettings))


def _check_broker(site: Checked) -> None:
    table: Any = site.table
    if table.broker is not None:
        check_broker(site, settings_from(table.broker, BrokerSettings))


def _check_messages(site: Checked) -> None:
    table: Any = site.table
    if table.messages is not None:
        _check_path(site, "secrets_file", table.messages.secrets_file, "messages")
        check_messages(site, table.messages, list(_raw(site, "chamber")))


def _check_names(site: Checked) -> None:
    for group in ("probe", "output", "circuit", "chamber"):
        seen: dict[str, str] = {}
        for name in _raw(site, group):
            if not NAME.fullmatch(name):
                site.object_to([group, name], ABSENT, NAME_WORDS)
            earlier = seen.setdefault(name.casefold(), name)
            if earlier != name:
                why = f"is the same name as {group}.{earlier}; give one of them another"
                site.object_to([group, name], ABSENT, why)


def _check_ids_and_pins(site: Checked) -> None:
    """By what stands in the file, also of tables that have other faults."""
    for group, key, why in (
        ("probe", "id", "is already the id of probe.{}; one probe has one name and one role"),
        ("output", "gpio", "is already the pin of output.{}; two outputs cannot share one"),
    ):
        seen: dict[object, str] = {}
        for name, raw in _raw(site, group).items():
            value = raw.get(key) if isinstance(raw, dict) else None
            if value is None or not site.is_sound(group, name, key):
                continue
            earlier = seen.setdefault(value, name)
            if earlier != name:
                site.object_to([group, name, key], value, why.format(earlier))


def _check_ownership(site: Checked) -> None:
    """Every name that a chamber says exists, and is said once."""
    owners: dict[tuple[str, str], str] = {}
    misnamed: set[str] = set()
    for group, name, path, value in _mentions(site):
        said_at = ".".join(map(str, path))
        if name not in _raw(site, group):
            meant = nearest(name, list(_raw(site, group)))
            known = any_of(list(_raw(site, group))) or "none"
            hint = f"did you mean {any_of([meant])}?" if meant else f"the file has {known}"
            site.object_to(path, value, f"there is no [{key_text([group, name])}]; {hint}")
            misnamed.add(group)
            continue
        if (earlier := owners.get((group, name))) is not None:
            why = f"{any_of([name])} is already in {earlier}; "
            why += "a probe has one role" if group == "probe" else "an output has one chamber"
            site.object_to(path, value, why)
        owners.setdefault((group, name), said_at)
    # A misspelt name leaves the one that was meant without an owner: that is not another fault.
    for group in sorted({"probe", "output"} - misnamed):
        _check_unowned(site, group, owners)


def _check_unowned(site: Checked, group: str, owners: Mapping[tuple[str, str], str]) -> None:
    if any(len(bad) <= 3 for bad in site.replaced_below("chamber")) or not _raw(site, "chamber"):
        return
    keys = "outputs" if group == "output" else "vessel_probe, air_probe or watching_probes"
    for name in _raw(site, group):
        if (group, name) not in owners:
            why = f"belongs to no chamber; name it in a chamber's {keys}, or take it out"
            site.object_to([group, name], ABSENT, why)


def _mentions(site: Checked) -> Iterator[tuple[str, str, Key, object]]:
    """Each mention of a probe or an output by a chamber: group, name, place and value there."""
    for chamber, table in _tables(site, "chamber").items():
        for group, key in (
            ("probe", "vessel_probe"),
            ("probe", "air_probe"),
            ("probe", "watching_probes"),
            ("output", "outputs"),
        ):
            value = getattr(table, key)
            if value is not None and site.is_sound("chamber", chamber, key):
                for name in _names(value):
                    yield group, name, ("chamber", chamber, key), value


def _names(value: object) -> Sequence[str]:
    return value if isinstance(value, list) else [str(value)]


def _check_output(site: Checked, name: str) -> None:
    output = _tables(site, "output")[name]
    where = ("output", name)
    kind = kind_of(output)
    if output.kind is not None and not site.replaced_below(*where, "kind"):
        if output.duty is Duty.COOL and kind is OutputKind.HEATER:
            why = 'a heater cannot cool; for cool this is "compressor", "valve" or "fan"'
            site.object_to([*where, "kind"], kind.value, why)
        if output.duty is Duty.FAN and kind is not OutputKind.FAN:
            why = 'duty "fan" takes kind "fan" only; leave kind out'
            site.object_to([*where, "kind"], kind.value, why)
    if output.run_on_s > 0 and output.duty is not Duty.FAN and site.is_sound(*where, "duty"):
        why = 'is for outputs with duty "fan"; take it out'
        site.object_to([*where, "run_on_s"], output.run_on_s, why)
    _check_circuit(site, name, output)


def _check_circuit(site: Checked, name: str, output: Any) -> None:
    where, circuits = ("output", name), _raw(site, "circuit")
    if output.circuit is None or not site.is_sound(*where, "circuit"):
        return
    if output.circuit not in circuits:
        meant = nearest(output.circuit, list(circuits))
        hint = f"did you mean {any_of([meant])}?" if meant else "add it with its limit_a"
        why = f"there is no [{key_text(['circuit', output.circuit])}]; {hint}"
        site.object_to([*where, "circuit"], output.circuit, why)
    if not site.is_sound(*where, "rated_a"):
        return
    if output.rated_a == 0:
        why = "must be above 0 A for an output on a circuit; it stands on the load's name plate"
        given = output.rated_a if "rated_a" in output.model_fields_set else ABSENT
        site.object_to([*where, "rated_a"], given, why)
    circuit = _tables(site, "circuit").get(output.circuit)
    sound = site.is_sound("circuit", output.circuit, "limit_a")
    if circuit is not None and sound and output.rated_a > circuit.limit_a:
        why = (
            f"must be at most {circuit.limit_a:g} A, the limit_a of circuit.{output.circuit}: "
            "it could never be switched on"
        )
        site.object_to([*where, "rated_a"], output.rated_a, why)


def _check_leases(site: Checked) -> None:
    """A relay must not stay on by its lease longer than its probe is believed."""
    board: Any = site.table
    if not site.is_sound("sample_period_s"):
        return
    lease = lease_s(board.sample_period_s)
    for name, probe in _tables(site, "probe").items():
        if probe.stale_s < lease and site.is_sound("probe", name, "stale_s"):
            why = (
                f"must be at least {lease:g} s, the lease of the relays, which is "
                f"{LEASE_PERIODS} × sample_period_s ({board.sample_period_s:g} s) and no less "
                "than 15 s; raise it, or sample more often"
            )
            site.object_to(["probe", name, "stale_s"], probe.stale_s, why)


def _check_chamber(site: Checked, name: str) -> None:
    chamber = _tables(site, "chamber")[name]
    duties: dict[Duty, str] = {}
    for output_name in dict.fromkeys(chamber.outputs):
        output = _tables(site, "output").get(output_name)
        if output is None or not site.is_sound("output", output_name, "duty"):
            continue
        earlier = duties.setdefault(output.duty, output_name)
        if earlier != output_name:
            why = (
                f'both {any_of([earlier])} and {any_of([output_name])} have duty "{output.duty}"; '
                "a chamber has one output for each duty"
            )
            site.object_to(["chamber", name, "outputs"], chamber.outputs, why)
    settings = chamber_settings(site.table, name)
    unheard = [output.name for output in settings.outputs if not _is_kind_known(site, output.name)]
    for objection in crossed(settings):
        top, *rest = objection.key.split(".")
        path: Key = tuple(objection.key.split("."))
        if top not in ("output", "probe"):
            path = ("chamber", name, *path)
        elif rest[0] in unheard:
            continue
        if not _is_about_a_replacement(site, path, objection):
            site.object_to(path, objection.value, objection.why)


def _is_kind_known(site: Checked, name: str) -> bool:
    return site.is_sound("output", name, "kind") and site.is_sound("output", name, "duty")


def _is_about_a_replacement(site: Checked, path: Key, objection: Objection) -> bool:
    """Whether the objection speaks of a key whose value was only put in."""
    words = set(re.findall(r"\w+", objection.why)) | {path[-1]}
    return any(
        bad[-1] in words or path[: len(bad)] == bad for bad in site.replaced_below(*path[:2])
    )


def _raw(site: Checked, group: str) -> Mapping[str, Any]:
    """The named tables of a group as they stand in the file, good or bad."""
    tables = site.data.get(group)
    return tables if isinstance(tables, dict) else {}


def _tables(site: Checked, group: str) -> Mapping[str, Any]:
    """The named tables of a group, made whole."""
    tables: Mapping[str, Any] = getattr(site.table, group)
    return tables
