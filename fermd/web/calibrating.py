"""Endpoint to calibrate a probe in ice water.

A probe in ice water tells its chamber that the beer is at 0 °C: the heater would run. So the
chamber has to be switched off first, unless the probe is only recorded.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Final, Literal

from annotated_types import Ge, Le

from fermd.config.calibration import (
    FEWEST_READINGS,
    Calibration,
    NotCalibrated,
    calibrated,
    with_offset,
    write_site,
)
from fermd.config.site import SiteFile
from fermd.control.decision import Mode
from fermd.control.settings import ProbeRole, ProbeSettings
from fermd.control.wording import difference
from fermd.journal.curves import Resolution
from fermd.journal.rows import BrewerNote
from fermd.service.daemon import fixed
from fermd.web import shapes
from fermd.web.doors import Right
from fermd.web.endpoint import Call, Endpoint, Shape
from fermd.web.house import House, InUnit
from fermd.web.refusals import RefusedError, shown

LOOKED_BACK_S: Final = 180.0
"""Readings of so long are taken, s, and of as many sample periods as it needs at the least."""

TAG: Final = "step in"


class ToCalibrate(Shape):
    """How the offset is found: from what the probe reads now, or as a number."""

    reference_c: Annotated[float, Ge(-1), Le(50)] = 0.0
    """What the probe should read, °C: 0 in stirred crushed ice and water."""
    offset_c: Annotated[float, Ge(-5), Le(5)] | None = None
    """The offset itself, °C, in place of finding it: to put one back."""


class UndoOffset(shapes.Answer):
    """How it is undone."""

    words: str
    offset_c: float


class Calibrated(shapes.Answer):
    """An offset that was set; it counts from the next tick on."""

    taken: Literal[True]
    probe: str
    read_c: float | None
    """Mean of the readings, with the offset before, °C."""
    readings: int
    before_c: float
    offset_c: float
    undo: UndoOffset


class Calibrating:
    """The endpoint."""

    def __init__(self, house: House) -> None:
        self._house = house
        self._since_utc_s: dict[str, float] = {}
        """By probe: before this its readings had another offset."""

    def endpoints(self) -> list[Endpoint]:
        """Return it."""
        return [
            Endpoint(
                "POST", "/api/probes/{probe}/calibrate", self.calibrate, Right.ACT, TAG,
                "Set a probe's offset by what it reads in ice water; it is kept in the site file",
                Calibrated, InUnit, body=ToCalibrate, refusals=(404, 409, 503),
            ),
        ]  # fmt: skip

    async def calibrate(self, call: Call) -> Mapping[str, Any]:
        """Calibrate a probe."""
        site, name = self._house.site_file(), str(call.request.path_params["probe"])
        chamber, probe = _find(site, name)
        view = self._house.snapshot().chambers[chamber]
        if probe.role is not ProbeRole.WATCHING and view.decision.mode is not Mode.OFF:
            raise RefusedError(
                409,
                f"chamber {chamber} goes by this probe and would heat: switch it off first",
            )
        asked: ToCalibrate = call.body
        unit = call.query.unit

        def work() -> Calibration:
            try:
                if asked.offset_c is None:
                    readings = self._readings(site, chamber, name)
                    found = calibrated(readings, probe.offset_c, asked.reference_c, unit)
                else:
                    found = Calibration(0.0, 0, probe.offset_c, asked.offset_c)
                text, changed = with_offset(site.path, name, found.offset_c)
                _refuse_more(site, changed)
                write_site(site.path, text, name, found.offset_c)
            except NotCalibrated as error:
                raise RefusedError(409, str(error)) from error
            return found

        found = await self._house.read(work)
        self._house.site.reload()
        words = f"probe {name}: offset {found.before_c:g} °C is now {found.offset_c:g} °C"
        note = BrewerNote(call.who("local"), words, "calibration", found.offset_c)
        self._house.site.note(chamber, note)
        self._since_utc_s[name] = self._house.site.now().wall_utc_s + 2 * site.sample_period_s
        return {
            "taken": True,
            "probe": name,
            "read_c": round(found.read_c, 3) if found.readings else None,
            "readings": found.readings,
            "before_c": found.before_c,
            "offset_c": found.offset_c,
            "undo": {
                "words": f"set the offset back to {difference(found.before_c, unit, 2)}",
                "offset_c": found.before_c,
            },
        }

    def _readings(self, site: SiteFile, chamber: str, probe: str) -> list[float]:
        self._house.site.written()
        now_s = self._house.site.now().wall_utc_s
        span_s = max(LOOKED_BACK_S, (FEWEST_READINGS + 2) * site.sample_period_s)
        found = self._house.site.record.temperatures(
            max(now_s - span_s, self._since_utc_s.get(probe, 0.0)),
            now_s + 1.0,
            chamber=chamber,
            probe=probe,
            resolution=Resolution.RAW,
        )
        return [one.mean_c for one in found.points if one.mean_c is not None]


def _find(site: SiteFile, name: str) -> tuple[str, ProbeSettings]:
    for chamber in site.settings.chambers:
        for probe in chamber.probes:
            if probe.name == name:
                return chamber.name, probe
    known = ", ".join(site.probe_ids)
    raise RefusedError(404, f"no probe {shown(name)}; there are: {known}")


def _refuse_more(site: SiteFile, changed: SiteFile) -> None:
    if fixed(changed) != fixed(site):
        raise NotCalibrated(
            f"{site.path}: has been changed in what counts only after a restart; restart the "
            "daemon first (systemctl restart fermd)"
        )
