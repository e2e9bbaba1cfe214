"""The page's files, from fermd/web/page and from packages that ship what a browser runs.

`/` is the page. It asks for its files under `/assets/DIGEST/`, where DIGEST changes with any of
them, so that a browser keeps them for good; under `/assets/` they are there as well, and asked for
again each time (ETag). All are small and kept in memory, compressed once.
"""

from __future__ import annotations

import gzip
import hashlib
import importlib.util
import threading
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from email.utils import formatdate
from pathlib import Path
from typing import Final

from anyio import to_thread
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

FOLDER: Final = Path(__file__).parent / "page"

TYPES: Final[Mapping[str, str]] = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".mjs": "text/javascript; charset=utf-8",
    ".json": "application/json",
    ".webmanifest": "application/manifest+json",
    ".svg": "image/svg+xml",
    ".png": "image/png",
    ".ico": "image/vnd.microsoft.icon",
    ".woff2": "font/woff2",
    ".txt": "text/plain; charset=utf-8",
}
"""What is served at all, and as what: a browser is told to believe this and nothing else."""

PACKAGED: Final[Mapping[str, tuple[str, str]]] = {
    "installed/uPlot.iife.js": ("uplot", "static/uPlot.iife.js"),
    "installed/uPlot.min.css": ("uplot", "static/uPlot.min.css"),
}
"""Files that come from an installed package: the address below /assets/, and package and path.

Where the package is not installed (it comes with the extra `web`) they are not there, and the page
says how to get them.
"""

_COMPRESSED: Final = ("text/", "application/", "image/svg")
_WORTH_COMPRESSING_BYTES: Final = 600
_FOR_GOOD: Final = "public, max-age=31536000, immutable"
_ASK_AGAIN: Final = "no-cache"


@dataclass(frozen=True, slots=True)
class File:
    """One file as it is sent."""

    content: bytes
    packed: bytes | None
    media_type: str
    etag: str
    changed_utc_s: float


class Pages:
    """The files, read when first asked for, and again when one of them has changed."""

    def __init__(self, folder: Path = FOLDER) -> None:
        self._folder = folder
        self._lock = threading.Lock()
        self._seen: object = None
        self._files: Mapping[str, File] = {}
        self._digest = ""

    def routes(self) -> list[Route]:
        """Return them as the server takes them."""
        return [
            Route("/", self._page, methods=["GET"]),
            Route("/manifest.webmanifest", self._manifest, methods=["GET"]),
            Route("/favicon.ico", self._icon, methods=["GET"]),
            Route("/assets/{path:path}", self._asset, methods=["GET"]),
        ]

    async def _page(self, request: Request) -> Response:
        await self._look()
        return self._sent(request, "index.html", _ASK_AGAIN)

    async def _manifest(self, request: Request) -> Response:
        await self._look()
        return self._sent(request, "manifest.webmanifest", _ASK_AGAIN)

    async def _icon(self, request: Request) -> Response:
        await self._look()
        return self._sent(request, "icon.svg", _ASK_AGAIN)

    async def _asset(self, request: Request) -> Response:
        if not self._files:
            await self._look()
        path = str(request.path_params["path"])
        digest, _, rest = path.partition("/")
        if digest == self._digest and rest:
            return self._sent(request, rest, _FOR_GOOD)
        return self._sent(request, path, _ASK_AGAIN)

    def _sent(self, request: Request, name: str, keep: str) -> Response:
        found = self._files.get(name)
        if found is None:
            return PlainTextResponse("not found\n", status_code=404)
        headers = {
            "ETag": found.etag,
            "Cache-Control": keep,
            "Last-Modified": formatdate(found.changed_utc_s, usegmt=True),
            "Vary": "Accept-Encoding",
        }
        known = request.headers.get("if-none-match", "")
        if found.etag in (each.strip().removeprefix("W/") for each in known.split(",")):
            return Response(status_code=304, headers=headers)
        content = found.content
        if found.packed is not None and "gzip" in request.headers.get("accept-encoding", ""):
            content = found.packed
            headers["Content-Encoding"] = "gzip"
        return Response(content, headers=headers, media_type=found.media_type)

    async def _look(self) -> None:
        await to_thread.run_sync(self._read)

    def _read(self) -> None:
        with self._lock:
            paths = dict(sorted(self._paths()))
            seen = [(name, path.stat().st_mtime_ns) for name, path in paths.items()]
            if seen == self._seen:
                return
            raw = {name: path.read_bytes() for name, path in paths.items()}
            whole = hashlib.sha256()
            for name, content in raw.items():
                whole.update(name.encode() + b"\0" + hashlib.sha256(content).digest())
            digest = whole.hexdigest()[:16]
            page = raw.get("index.html")
            if page is not None:
                raw["index.html"] = page.replace(b'"/assets/', f'"/assets/{digest}/'.encode())
            self._files = {
                name: _file(content, paths[name].suffix, paths[name].stat().st_mtime)
                for name, content in raw.items()
            }
            self._digest, self._seen = digest, seen

    def _paths(self) -> Iterator[tuple[str, Path]]:
        for path in self._folder.rglob("*"):
            if path.suffix in TYPES and path.is_file():
                yield path.relative_to(self._folder).as_posix(), path
        for name, (package, inside) in PACKAGED.items():
            installed = _inside(package, inside)
            if installed is not None:
                yield name, installed


def _inside(package: str, inside: str) -> Path | None:
    """Find a file of a package without importing it: what it needs itself would take memory."""
    found = importlib.util.find_spec(package)
    folders = [] if found is None else found.submodule_search_locations or []
    return next((path for each in folders if (path := Path(each) / inside).is_file()), None)


def _file(content: bytes, ending: str, changed_utc_s: float) -> File:
    media_type = TYPES[ending]
    packed = None
    if media_type.startswith(_COMPRESSED) and len(content) > _WORTH_COMPRESSING_BYTES:
        # With a fixed time in its head, so that the same file is always the same bytes.
        packed = gzip.compress(content, 9, mtime=0)
    etag = f'"{hashlib.sha256(content).hexdigest()[:24]}"'
    return File(content, packed, media_type, etag, changed_utc_s)
