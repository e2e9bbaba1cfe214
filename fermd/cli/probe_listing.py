"""What `fermd probes` lists: the site file's names, the daemon's readings, the bus itself."""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from fermd.cli.readback import worded_reading
from fermd.config.site import SiteFile
from fermd.control.reading import ProbeFault
from fermd.control.settings import ProbeSettings
from fermd.control.wording import Unit, fault, temperature
from fermd.hardware import w1_tree
from fermd.hardware.w1_frame import Frame
from fermd.hardware.w1_probe import read_probe

PATIENCE_S: Final = 5.0
"""A bus whose next probe takes longer than this, s, hangs. Twice 0.75 s is usual: the first value
may be of a conversion made long ago (DS18B20 data sheet; kernel's w1_therm)."""

Plain = dict[str, Any]


def listing(site: SiteFile | None, root: Path, reported: Sequence[Plain] | None) -> list[Plain]:
    """Every probe: those with a name in the order of the site file, then the others."""
    listed = w1_tree.list_probes(root)
    named = _named(site)
    found = []
    if reported is not None:
        # The daemon knows its probes by name; the site file says which id that is.
        id_by_name = {} if site is None else dict(site.probe_ids)
        for one in reported:
            known = named.get(id_by_name.get(one["probe"], ""))
            role = None if known is None else known[1].role.value
            found.append({"id": id_by_name.get(one["probe"]), "role": role, "by": "fermd"} | one)
    told = {one["id"] for one in found}
    # Without the site file it cannot be known which ids are the daemon's: none is read beside it.
    others = [] if None in told else [one for one in (*named, *listed) if one not in told]
    readings = read_all(root, [one for one in dict.fromkeys(others) if one in listed])
    for probe_id in dict.fromkeys(others):
        chamber, settings = named.get(probe_id, (None, None))
        found.append(
            {
                "id": probe_id,
                "role": None if settings is None else settings.role.value,
                "by": "bus",
                "chamber": chamber,
                "probe": None if settings is None else settings.name,
            }
            | _plain_reading(readings.get(probe_id, ProbeFault.DISCONNECTED), settings)
        )
    return found


def read_all(root: Path, probe_ids: Sequence[str]) -> Mapping[str, Frame | ProbeFault]:
    """Read these probes, each bus in a thread of its own; one that hangs is `no answer`."""
    by_master: dict[str, list[str]] = {}
    for probe_id in probe_ids:
        by_master.setdefault(w1_tree.master_of(root, probe_id), []).append(probe_id)
    answers: queue.SimpleQueue[tuple[str, Frame | ProbeFault]] = queue.SimpleQueue()

    def read(on_one_bus: Sequence[str]) -> None:
        for probe_id in on_one_bus:
            read_probe(root, probe_id)
            answers.put((probe_id, read_probe(root, probe_id)))

    for group in by_master.values():
        threading.Thread(target=read, args=(group,), daemon=True).start()
    found: dict[str, Frame | ProbeFault] = dict.fromkeys(probe_ids, ProbeFault.NO_ANSWER)
    longest = max(map(len, by_master.values()), default=0)
    deadline_s = time.monotonic() + PATIENCE_S * max(1, longest)
    for _ in probe_ids:
        try:
            probe_id, answer = answers.get(timeout=max(0.0, deadline_s - time.monotonic()))
        except queue.Empty:
            break
        found[probe_id] = answer
    return found


def shown_rows(found: Sequence[Plain], unit: Unit) -> list[tuple[str, str, str, str, str]]:
    """The listing for people: id, name, role, reading, state."""
    return [
        (
            one["id"] or "?",
            "/".join(filter(None, (one["chamber"], one["probe"]))) or "no name yet",
            one["role"] or "-",
            "-" if one["temp_c"] is None else temperature(one["temp_c"], unit, 2),
            _state(one, unit),
        )
        for one in found
    ]


def _state(one: Plain, unit: Unit) -> str:
    if one["by"] == "bus":
        parts = [fault(ProbeFault(one["fault"])) if one["fault"] else "good"]
        if one["resolution_bits"] not in (None, 12):
            parts.append(f"{one['resolution_bits']} bits")
        return ", ".join(parts)
    parts = ["good" if one["trusted"] else worded_reading(one, unit)["words"]]
    parts.append(f"{one['samples']} samples")
    counts = [f"{count} × {fault(ProbeFault(name))}" for name, count in one["faults"].items()]
    return ", ".join(parts + counts)


def _named(site: SiteFile | None) -> dict[str, tuple[str, ProbeSettings]]:
    """Chamber and settings by the id on the bus."""
    if site is None:
        return {}
    return {
        site.probe_ids[probe.name]: (chamber.name, probe)
        for chamber in site.settings.chambers
        for probe in chamber.probes
    }


def _plain_reading(found: Frame | ProbeFault, settings: ProbeSettings | None) -> Plain:
    if isinstance(found, ProbeFault):
        return {"trusted": False, "temp_c": None, "fault": found.value, "resolution_bits": None}
    offset_c = 0.0 if settings is None else settings.offset_c
    return {
        "trusted": True,
        "temp_c": round(found.temp_c + offset_c, 4),
        "fault": None,
        "resolution_bits": found.resolution_bits,
    }
