"""Endpoints for profiles: list, read, check while they are typed, save, and preview.

Checking lays the plan out at once, with the least that steps can take which the beer or a person
ends; a preview rehearses it, which takes a second or more.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated, Any, Final

from annotated_types import Ge, Le
from pydantic import Field

from fermd.config.errors import ABSENT, ConfigError
from fermd.config.profile_checks import unreachable_steps
from fermd.config.profile_file import parse_profile
from fermd.config.profile_store import NotKept, ProfileStore, checked, line_of
from fermd.config.site import SiteFile
from fermd.config.zone_calendar import ZoneCalendar
from fermd.control.foresight import stretches
from fermd.control.plain_profile import profile_to_plain
from fermd.control.progress import leaves_c
from fermd.control.reading import Trusted
from fermd.control.settings import DAY_S, ChamberSettings
from fermd.control.steps import FreeRise, Jump, Profile, Ramp
from fermd.control.wording import Unit
from fermd.journal.rows import ProfileKept
from fermd.physics.errors import PhysicsError
from fermd.web import shapes
from fermd.web.doors import Right
from fermd.web.endpoint import Call, Endpoint, Shape
from fermd.web.house import House, InUnit, no_chamber
from fermd.web.orders import Text
from fermd.web.refusals import Plain, RefusedError, fault, shown

if TYPE_CHECKING:
    from fermd.web.planned import Guess

TAG: Final = "profiles"

LONGEST_TOML_CHARS: Final = 100_000

USUAL_START_C: Final = 20.0
"""A beer whose temperature nobody knows and that a profile begins by cooling, °C (no source)."""

SHOWN_AFTER_S: Final = DAY_S / 2
"""So long after the target's last corner, s, the beer is shown: it comes there later."""

Toml = Annotated[str, Field(max_length=LONGEST_TOML_CHARS)]


class OwnProfile(Shape):
    """The text of a profile."""

    toml: Toml


class Batch(Shape):
    """What is said of the beer; what is left out is taken to be as usual, and told."""

    at: Text | None = None
    """When it would start: a local time such as "fri 18:00"; left out: now."""
    beer_c: Annotated[float, Ge(-5), Le(60)] | None = None
    """The beer's temperature at the start, °C; left out: what the vessel's probe reads."""
    volume_l: Annotated[float, Ge(0.1), Le(5000)] | None = None
    vessel_l: Annotated[float, Ge(0.1), Le(20000)] | None = None
    original: Annotated[float, Ge(0.9), Le(60)] | None = None
    """Original gravity, or °P if above 2."""
    final: Annotated[float, Ge(0.0), Le(60)] | None = None
    """Final gravity from 0.98 to 1.2, or °P."""
    finished: bool | None = None
    """Whether the beer has fermented already."""


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
                list[shapes.ProfileListed], refusals=(503,),
            ),
            Endpoint(
                "POST", "/api/profiles/check", self.check, Right.ACT, TAG,
                "What is wrong with a profile's text, beside its lines; else the target's line",
                shapes.ProfileChecked, InUnit, body=ToCheck, refusals=(404, 503),
            ),
            Endpoint(
                "GET", "/api/profiles/{profile}", self.profile, Right.LOOK, TAG,
                "A profile's text and its steps", shapes.ProfileText, refusals=(404, 503),
            ),
            Endpoint(
                "PUT", "/api/profiles/{profile}", self.save, Right.ACT, TAG,
                "Save a profile of one's own, if `fermd check` would accept it",
                shapes.Saved, body=OwnProfile, refusals=(409, 503),
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

    async def profiles(self, _call: Call) -> Any:
        """Answer with all profiles."""
        store = self._store()
        return await self._house.read(
            lambda: [_listed(name, kept.is_own, store) for name, kept in store.all().items()]
        )

    async def profile(self, call: Call) -> Mapping[str, Any]:
        """Answer with one profile."""
        store, name = self._store(), str(call.request.path_params["profile"])

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
                faults = _faults(text, error)
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
        beer_c = self._beer_c(settings.name, asked)

        def look() -> Mapping[str, Any]:
            from fermd.planning.estimate import Estimate

            try:
                profile = checked(asked.toml, "profile", site.settings.chambers)
                _must_be_reachable(profile, start_utc_s, site)
            except ConfigError as error:
                return {"ok": False, "faults": _faults(asked.toml, error), "plan": None}
            unit = call.query.unit
            plan = _plan(profile, settings, site, start_utc_s, beer_c, _guess(asked), unit)
            told = _told(plan, site, Estimate({}, None), unit)
            return {"ok": True, "faults": [], "plan": told, "now_utc_s": now_s}

        return await self._house.read(look)

    async def save(self, call: Call) -> Mapping[str, Any]:
        """Save one's own profile."""
        store, name = self._store(), str(call.request.path_params["profile"])
        chambers, text = self._house.site_file().settings.chambers, call.body.toml

        def write() -> str | None:
            try:
                return store.save(name, text, chambers)
            except NotKept as error:
                raise RefusedError(409, str(error)) from error
            except ConfigError as error:
                raise RefusedError(422, str(error), _faults(text, error)) from error

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
        beer_c = self._beer_c(call.chamber, asked)

        def look() -> Mapping[str, Any]:
            text = self._text(asked)
            try:
                profile = checked(text, "profile", [settings])
                _must_be_reachable(profile, start_utc_s, site)
            except ConfigError as error:
                raise RefusedError(422, str(error), _faults(text, error)) from error
            unit = call.query.unit
            plan = _plan(profile, settings, site, start_utc_s, beer_c, _guess(asked), unit)
            return _foretold(plan, site, unit)

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


def _listed(name: str, is_own: bool, store: ProfileStore) -> Plain:
    """One profile of the list."""
    found: Plain = {"name": name, "own": is_own, "title": name, "description": "", "steps": 0}
    found |= {"lasts_s": None, "lasts_is_sure": False, "faults": []}
    text = ""
    try:
        text = store.text(name)
        profile = parse_profile(text, name)
    except ConfigError as error:
        # One that is broken does not hide the others.
        return found | {"faults": _faults(text, error)}
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


def _faults(text: str, error: ConfigError) -> list[Plain]:
    return [
        {
            "key": one.key,
            "line": line_of(text, one),
            "value": None if one.value is ABSENT else shown(one.value),
            "why": one.why,
        }
        for one in error.faults
    ]


def _must_be_reachable(profile: Profile, start_utc_s: float, site: SiteFile) -> None:
    if faults := unreachable_steps(profile, start_utc_s, ZoneCalendar(site.zone)):
        raise ConfigError("profile", faults)


def _guess(asked: Batch) -> Guess:
    from fermd.web.planned import Guess

    return Guess(
        volume_l=asked.volume_l,
        vessel_l=asked.vessel_l,
        original=asked.original,
        final=asked.final,
        finished=asked.finished,
    )


def _plan(
    profile: Profile,
    settings: ChamberSettings,
    site: SiteFile,
    start_utc_s: float,
    beer_c: float | None,
    guess: Guess,
    unit: Unit,
) -> Any:
    from fermd.web.planned import plan_of

    first = profile.steps[0]
    if beer_c is not None:
        start_c = beer_c
    elif isinstance(first, Ramp | Jump):
        start_c = USUAL_START_C
    else:
        start_c = first.floor_c if isinstance(first, FreeRise) else leaves_c(first)
    try:
        return plan_of(profile, settings, site, start_utc_s, start_c, guess, unit)
    except PhysicsError as error:
        raise RefusedError(422, str(error)) from error


def _foretold(plan: Any, site: SiteFile, unit: Unit) -> Plain:
    """A plan with the beer's way in it, and the dates that depend on that."""
    from fermd.planning.errors import PlanError
    from fermd.planning.estimate import Estimate, estimate_from
    from fermd.web.planned import beers_way, quick_rehearsal

    try:
        seen = quick_rehearsal(plan.plan)
    except (PlanError, PhysicsError) as error:
        told = _told(plan, site, Estimate({}, None), unit)
        assumed = [*told["assumed"], f"the beer's way cannot be rehearsed: {error}"]
        return {**told, "assumed": assumed}
    told = _told(plan, site, estimate_from(seen, plan.plan.profile), unit)
    start_s = plan.plan.start_utc_s
    end_s = max(corner["utc_s"] for step in told["steps"] for corner in step["target"])
    return {**told, "beer": beers_way(seen, start_s, end_s + SHOWN_AFTER_S)}


def _told(plan: Any, site: SiteFile, found: Any, unit: Unit) -> Plain:
    """A plan with its cautions, in the words of `fermd preview`."""
    from fermd.planning.telling import plain_timeline, told_cautions
    from fermd.planning.timeline import timeline

    made = plan.plan
    line = timeline(made.profile, made.start_utc_s, made.start_c, site.zone, found.taken_s)
    return {
        "profile": made.profile.name,
        "chamber": made.chamber.settings.name,
        "time_zone": site.time_zone,
        "start_utc_s": made.start_utc_s,
        "start_c": made.start_c,
        **plain_timeline(line, site.zone),
        "cautions": [
            {**data, "text": words} for data, words in told_cautions(made, line, found, unit)
        ],
        "assumed": list(plan.assumed),
        "beer": [],
    }
