"""Endpoints for profiles: list, read, check while they are typed, save, and preview.

Checking lays the plan out at once, with the least that steps can take which the beer or a person
ends; a preview rehearses it, which takes a second or more.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Final

from pydantic import Field

from fermd.config.errors import ConfigError
from fermd.config.profile_file import parse_profile
from fermd.config.profile_store import NotKept, ProfileStore, checked
from fermd.config.site import SiteFile
from fermd.control.foresight import stretches
from fermd.control.plain_profile import profile_to_plain
from fermd.control.reading import Trusted
from fermd.control.settings import ChamberSettings
from fermd.control.wording import Unit
from fermd.journal.rows import ProfileKept
from fermd.web import shapes
from fermd.web.doors import Right
from fermd.web.endpoint import Call, Endpoint, Shape
from fermd.web.foretelling import Batch, foretold, laid_out, must_be_reachable, told
from fermd.web.house import House, InUnit, no_chamber
from fermd.web.orders import Text
from fermd.web.profile_faults import faults_of, refused
from fermd.web.refusals import Plain, RefusedError, fault, shown

TAG: Final = "profiles"

LONGEST_TOML_CHARS: Final = 100_000

Toml = Annotated[str, Field(max_length=LONGEST_TOML_CHARS)]


class OwnProfile(Shape):
    """The text of a profile."""

    toml: Toml


class ToCheck(Batch):
    """A profile that is being typed."""

    toml: Toml
    chamber: Text | None = None
    """The chamber that it is laid out for; left out: the first."""


class ToPreview(Batch):
    """A profile that is about to be started."""

    profile: Text | None = None
    """Its name ..."""
    toml: Toml | None = None
    """... or its text."""


class Profiling:
    """The endpoints."""

    def __init__(self, house: House) -> None:
        self._house = house

    def endpoints(self) -> list[Endpoint]:
        """Return them, in the order of the description."""
        return [
            Endpoint(
                "GET", "/api/profiles", self.profiles, Right.LOOK, TAG,
                "All profiles: those that come with fermd, and the brewer's own",
                list[shapes.ProfileListed], InUnit, refusals=(503,),
            ),
            Endpoint(
                "POST", "/api/profiles/check", self.check, Right.ACT, TAG,
                "What is wrong with a profile's text, beside its lines; else the target's line",
                shapes.ProfileChecked, InUnit, body=ToCheck, refusals=(404, 503),
            ),
            Endpoint(
                "GET", "/api/profiles/{profile}", self.profile, Right.LOOK, TAG,
                "A profile's text and its steps", shapes.ProfileText, InUnit, refusals=(404, 503),
            ),
            Endpoint(
                "PUT", "/api/profiles/{profile}", self.save, Right.ACT, TAG,
                "Save a profile of one's own, if `fermd check` would accept it",
                shapes.Saved, InUnit, body=OwnProfile, refusals=(409, 503),
            ),
            Endpoint(
                "DELETE", "/api/profiles/{profile}", self.delete, Right.ACT, TAG,
                "Take a profile of one's own away", shapes.Saved, refusals=(409, 503),
            ),
            Endpoint(
                "POST", "/api/chambers/{chamber}/preview", self.preview, Right.ACT, TAG,
                "A profile on the calendar, with the beer's way and what to beware of",
                shapes.Previewed, InUnit, body=ToPreview, refusals=(404, 503),
            ),
        ]  # fmt: skip

    def _store(self) -> ProfileStore:
        return ProfileStore(self._house.site_file().path)

    async def profiles(self, call: Call) -> Any:
        """Answer with all profiles."""
        store, unit = self._store(), call.query.unit
        return await self._house.read(
            lambda: [_listed(name, kept.is_own, store, unit) for name, kept in store.all().items()]
        )

    async def profile(self, call: Call) -> Mapping[str, Any]:
        """Answer with one profile."""
        store, name = self._store(), str(call.request.path_params["profile"])
        unit = call.query.unit

        def look() -> Mapping[str, Any]:
            kept = store.all().get(name)
            if kept is None:
                raise RefusedError(404, f"there is no profile of the name {shown(name)}")
            try:
                text = store.text(name)
            except ConfigError as error:
                raise RefusedError(503, str(error)) from error
            found: Plain = {"name": name, "own": kept.is_own, "toml": text}
            try:
                profile = parse_profile(text, name)
            except ConfigError as error:
                faults = faults_of(text, error, unit)
                return {**found, "title": name, "description": "", "steps": [], "faults": faults}
            plain = profile_to_plain(profile)
            return {
                **found,
                "title": profile.name,
                "description": profile.description,
                "steps": plain["steps"],
                "faults": [],
            }

        return await self._house.read(look)

    async def check(self, call: Call) -> Mapping[str, Any]:
        """Answer with what is wrong with a text, or with its line."""
        asked: ToCheck = call.body
        site = self._house.site_file()
        settings = self._settings(site, asked.chamber)
        start_utc_s, now_s = self._start(asked)
        beer_c, unit = self._beer_c(settings.name, asked), call.query.unit

        def look() -> Mapping[str, Any]:
            from fermd.planning.estimate import Estimate

            try:
                profile = checked(asked.toml, "profile", site.settings.chambers)
                must_be_reachable(profile, start_utc_s, site)
            except ConfigError as error:
                return {"ok": False, "faults": faults_of(asked.toml, error, unit), "plan": None}
            plan = laid_out(profile, settings, site, start_utc_s, beer_c, asked, unit)
            found = told(plan, site, Estimate({}, None), unit)
            return {"ok": True, "faults": [], "plan": found, "now_utc_s": now_s}

        return await self._house.read(look)

    async def save(self, call: Call) -> Mapping[str, Any]:
        """Save one's own profile."""
        store, name = self._store(), str(call.request.path_params["profile"])
        chambers, text = self._house.site_file().settings.chambers, call.body.toml
        unit = call.query.unit

        def write() -> str | None:
            try:
                return store.save(name, text, chambers)
            except NotKept as error:
                raise RefusedError(409, str(error)) from error
            except ConfigError as error:
                raise refused(text, error, unit) from error

        before = await self._house.read(write)
        self._record(call, name, "saved" if before is None else "replaced")
        return {"taken": True, "name": name, "before": before}

    async def delete(self, call: Call) -> Mapping[str, Any]:
        """Take one's own profile away."""
        store, name = self._store(), str(call.request.path_params["profile"])

        def remove() -> str:
            try:
                return store.delete(name)
            except NotKept as error:
                raise RefusedError(409, str(error)) from error

        before = await self._house.read(remove)
        self._record(call, name, "deleted")
        return {"taken": True, "name": name, "before": before}

    def _record(self, call: Call, name: str, change: str) -> None:
        self._house.site.profile_kept(ProfileKept(name, change, call.who("the local user")))

    async def preview(self, call: Call) -> Mapping[str, Any]:
        """Answer with a profile on the calendar."""
        asked: ToPreview = call.body
        self._house.view(call)
        site = self._house.site_file()
        settings = self._settings(site, call.chamber)
        start_utc_s, _ = self._start(asked)
        beer_c, unit = self._beer_c(call.chamber, asked), call.query.unit

        def look() -> Mapping[str, Any]:
            text = self._text(asked)
            try:
                profile = checked(text, "profile", [settings])
                must_be_reachable(profile, start_utc_s, site)
            except ConfigError as error:
                raise refused(text, error, unit) from error
            plan = laid_out(profile, settings, site, start_utc_s, beer_c, asked, unit)
            return foretold(plan, site, unit)

        return await self._house.work(look)

    def _text(self, asked: ToPreview) -> str:
        if (asked.profile is None) == (asked.toml is None):
            why = "name a profile, or give its text: one of the two"
            raise RefusedError(422, f"profile: {why}", [fault("profile", asked.profile, why)])
        if asked.toml is not None:
            return asked.toml
        try:
            return self._store().text(asked.profile or "")
        except KeyError as error:
            why = f"there is no profile of the name {shown(asked.profile)}"
            raise RefusedError(422, why, [fault("profile", asked.profile, why)]) from error
        except ConfigError as error:
            raise RefusedError(503, str(error)) from error

    def _settings(self, site: SiteFile, chamber: str | None) -> ChamberSettings:
        chambers = site.settings.chambers
        if chamber is None:
            return chambers[0]
        found = next((one for one in chambers if one.name == chamber), None)
        if found is None:
            raise no_chamber(chamber, self._house.snapshot())
        return found

    def _start(self, asked: Batch) -> tuple[float, float]:
        now_s = self._house.site.now().wall_utc_s
        if asked.at is None:
            return now_s, now_s
        try:
            return self._house.readers.instant(asked.at), now_s
        except ValueError as error:
            raise RefusedError(422, str(error), [fault("at", asked.at, str(error))]) from error

    def _beer_c(self, chamber: str, asked: Batch) -> float | None:
        if asked.beer_c is not None:
            return asked.beer_c
        snapshot = self._house.site.snapshot()
        view = None if snapshot is None else snapshot.chambers.get(chamber)
        seen = None if view is None else view.decision.vessel
        return seen.temp_c if isinstance(seen, Trusted) else None


def _listed(name: str, is_own: bool, store: ProfileStore, unit: Unit) -> Plain:
    """One profile of the list."""
    found: Plain = {"name": name, "own": is_own, "title": name, "description": "", "steps": 0}
    found |= {"lasts_s": None, "lasts_is_sure": False, "faults": []}
    text = ""
    try:
        text = store.text(name)
        profile = parse_profile(text, name)
    except ConfigError as error:
        # One that is broken does not hide the others.
        return found | {"faults": faults_of(text, error, unit)}
    laid = list(stretches(profile.steps, 0.0, None, None))
    last = laid[-1]
    no_end = last.ends_utc_s == float("inf")
    return found | {
        "title": profile.name,
        "description": profile.description,
        "steps": len(profile.steps),
        "lasts_s": last.begins_utc_s if no_end else last.ends_utc_s,
        "lasts_is_sure": last.begin_is_sure if no_end else last.end_is_sure,
    }
