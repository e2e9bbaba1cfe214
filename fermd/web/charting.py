"""Endpoints for the chart: what the record has of a span, and where things are heading."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Final

from annotated_types import Ge, Le
from pydantic import BeforeValidator

from fermd.service.snapshot import ChamberView
from fermd.web import chart_shapes
from fermd.web.curves import Wanted, read_curves
from fermd.web.doors import Right
from fermd.web.endpoint import Call, Endpoint, Whole
from fermd.web.house import House, InUnit
from fermd.web.refusals import RefusedError, fault

MOST_POINTS: Final = 2000
USUAL_SPAN_S: Final = 86400.0
LONGEST_SPAN_S: Final = 5 * 366 * 86400.0
SHORTEST_SPAN_S: Final = 60.0
USUAL_PERIOD_S: Final = 10.0

TAG: Final = "chart"


def _number(value: object) -> object:
    """Take a number as it stands in an address."""
    text = value if isinstance(value, str) else ""
    return float(text) if text and len(text) < 40 and text.isascii() and "_" not in text else value


Instant = Annotated[float, BeforeValidator(_number), Ge(0.0), Le(1e11)]


class CurvesQuery(InUnit):
    """Which span, and how finely."""

    from_utc_s: Instant | None = None
    """Left out: a day before the end."""
    to_utc_s: Instant | None = None
    """Left out: now."""
    points: Annotated[Whole, Ge(10), Le(MOST_POINTS)] = 500
    """About how many points each curve has."""


class Charting:
    """The endpoints."""

    def __init__(self, house: House) -> None:
        self._house = house
        self._kept: dict[str, tuple[object, float, Mapping[str, Any]]] = {}
        """By the chamber: what its forecast rests on, when it was made (POSIX, s), and it."""

    def endpoints(self) -> list[Endpoint]:
        """Return them, in the order of the description."""
        return [
            Endpoint(
                "GET", "/api/chambers/{chamber}/curves", self.curves, Right.LOOK, TAG,
                "Temperatures, target, runs of outputs and marks of a span of time",
                chart_shapes.Curves, CurvesQuery, refusals=(404, 503),
            ),
            Endpoint(
                "GET", "/api/chambers/{chamber}/forecast", self.forecast, Right.LOOK, TAG,
                "Where target and beer are heading, and what comes next and when",
                chart_shapes.Forecast, InUnit, refusals=(404, 503),
            ),
        ]  # fmt: skip

    async def forecast(self, call: Call) -> Mapping[str, Any]:
        """Answer with where a chamber is heading."""
        # The thermal model is loaded when somebody asks for the first time.
        from fermd.web import outlooks

        site, view = self._house.site_file(), self._house.view(call)

        def look() -> Mapping[str, Any]:
            # Asked for while another was at it, it may be there by now.
            now_s, key = self._house.site.now().wall_utc_s, outlooks.rests_on(view)
            kept = self._kept.get(call.chamber)
            if kept is None or kept[0] != key or not 0 <= now_s - kept[1] < outlooks.LATEST_S:
                kept = key, now_s, outlooks.forecast(view, site, now_s)
                self._kept[call.chamber] = kept
            return kept[2]

        found = await self._house.work(look)
        now_s = self._house.site.now().wall_utc_s
        return {
            **found,
            "next": outlooks.what_comes_next(view, found["steps"], site, now_s, call.query.unit),
        }

    async def curves(self, call: Call) -> Mapping[str, Any]:
        """Answer with a span of the record."""
        view = self._house.view(call)
        wanted = self._wanted(call, view)
        names = _names(view)
        found = await self._house.read(lambda: read_curves(self._house.site.record, wanted))
        return {**found, **names}

    def _wanted(self, call: Call, view: ChamberView) -> Wanted:
        query: CurvesQuery = call.query
        now_s = self._house.site.now().wall_utc_s
        to_s = now_s if query.to_utc_s is None else query.to_utc_s
        from_s = to_s - USUAL_SPAN_S if query.from_utc_s is None else query.from_utc_s
        if not SHORTEST_SPAN_S <= to_s - from_s <= LONGEST_SPAN_S:
            why = "must be a minute to five years before to_utc_s"
            raise RefusedError(422, f"from_utc_s: {why}", [fault("from_utc_s", from_s, why)])
        file = self._house.site.site_file
        return Wanted(
            chamber=call.chamber,
            probes=list(view.healths),
            from_utc_s=from_s,
            to_utc_s=to_s,
            points=query.points,
            sample_period_s=USUAL_PERIOD_S if file is None else file.sample_period_s,
            now_utc_s=now_s,
            target_now=view.decision.target,
            unit=query.unit,
        )


def _names(view: ChamberView) -> dict[str, Any]:
    """Which probe is which."""
    names = list(view.healths)
    watching = [name for name, _ in view.decision.watching]
    others = [name for name in names[1:] if name not in watching]
    return {"vessel": names[0], "air": others[0] if others else None, "watching": watching}
