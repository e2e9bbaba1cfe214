"""Endpoints for machines: the description of the interface, and figures for series."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

from starlette.responses import Response

from fermd.web.doors import Right
from fermd.web.endpoint import Call, Endpoint
from fermd.web.house import House

TAG: Final = "machines"

OPENMETRICS: Final = "application/openmetrics-text"


class Machines:
    """The endpoints."""

    def __init__(self, house: House, open_pages: Callable[[], int]) -> None:
        self._house = house
        self._open_pages = open_pages
        self._described: bytes | None = None
        self._endpoints: Sequence[Endpoint] = ()

    def describes(self, endpoints: Sequence[Endpoint]) -> None:
        """Say what there is to describe."""
        self._endpoints = endpoints

    def endpoints(self) -> list[Endpoint]:
        """Return them, in the order of the description."""
        return [
            Endpoint(
                "GET", "/openapi.json", self.openapi, Right.LOOK, TAG,
                "This description (OpenAPI 3.1)", dict,
            ),
            Endpoint(
                "GET", "/metrics", self.metrics, Right.LOOK, TAG,
                "The present in figures, as OpenMetrics text", OPENMETRICS,
            ),
        ]  # fmt: skip

    async def openapi(self, _call: Call) -> Response:
        """Answer with the description."""
        if self._described is None:
            # Loaded by whoever asks for it.
            from fermd.web.description import describe

            self._described = await self._house.work(lambda: describe(self._endpoints))
        return Response(self._described, media_type="application/json")

    async def metrics(self, call: Call) -> Response:
        """Answer with the figures."""
        from fermd.web.metrics import exposition

        site = self._house.site
        known_as = "" if site.site_file is None else site.site_file.known_as
        accept = call.request.headers.get("accept", "")
        told, media_type = exposition(
            site.snapshot(), site.now(), self._open_pages(), known_as, accept
        )
        return Response(told, headers={"Content-Type": media_type})
