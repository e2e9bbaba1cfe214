"""The page's files: strict types, kept for good under their digest, compressed."""

from __future__ import annotations

import gzip
import re
from pathlib import Path

import httpx
import pytest
from starlette.applications import Starlette

from fermd.web.pages import FOLDER, TYPES, Pages

INDEX = '<!doctype html><link rel="stylesheet" href="/assets/a.css"><script src="/assets/b/c.js">'


@pytest.fixture
def page(tmp_path: Path) -> Path:
    (tmp_path / "b").mkdir()
    (tmp_path / "index.html").write_text(INDEX)
    (tmp_path / "a.css").write_text("body { color: black }\n" * 100)
    (tmp_path / "b" / "c.js").write_text("let a = 1;\n")
    (tmp_path / "manifest.webmanifest").write_text("{}")
    (tmp_path / "icon.svg").write_text("<svg/>")
    (tmp_path / "notes.md").write_text("not for browsers")
    return tmp_path


async def asked(folder: Path, place: str, **headers: str) -> httpx.Response:
    transport = httpx.ASGITransport(Starlette(routes=Pages(folder).routes()))
    async with httpx.AsyncClient(transport=transport, base_url="http://page") as client:
        return await client.get(place, headers=headers)


def get(folder: Path, place: str, **headers: str) -> httpx.Response:
    import asyncio

    return asyncio.run(asked(folder, place, **headers))


def assets(folder: Path) -> list[str]:
    return re.findall(r'"(/assets/[^"]+)"', get(folder, "/").text)


@pytest.mark.parametrize(
    ("place", "media_type"),
    [
        ("/", "text/html; charset=utf-8"),
        ("/assets/a.css", "text/css; charset=utf-8"),
        ("/assets/b/c.js", "text/javascript; charset=utf-8"),
        ("/manifest.webmanifest", "application/manifest+json"),
        ("/favicon.ico", "image/svg+xml"),
    ],
)
def test_every_file_has_its_one_type(page: Path, place: str, media_type: str) -> None:
    answer = get(page, place)
    assert (answer.status_code, answer.headers["content-type"]) == (200, media_type)


def test_what_the_page_asks_for_is_kept_for_good_until_it_changes(page: Path) -> None:
    for place in assets(page):
        assert "immutable" in get(page, place).headers["cache-control"]
    before = assets(page)
    (page / "a.css").write_text("body { color: red }")
    after = assets(page)
    assert not set(before) & set(after)
    assert get(page, after[0]).text == "body { color: red }"


def test_without_its_digest_a_file_is_asked_for_each_time_and_sent_when_it_is_new(
    page: Path,
) -> None:
    for place in ("/", "/assets/a.css", "/manifest.webmanifest"):
        answer = get(page, place)
        assert answer.headers["cache-control"] == "no-cache"
        again = get(page, place, **{"if-none-match": f'"x", W/{answer.headers["etag"]}'})
        assert (again.status_code, again.content) == (304, b"")
        assert get(page, place, **{"if-none-match": '"old"'}).status_code == 200


def test_what_is_worth_it_is_compressed_for_who_can_read_it(page: Path) -> None:
    plain = get(page, "/assets/a.css", **{"accept-encoding": "identity"})
    packed = get(page, "/assets/a.css", **{"accept-encoding": "gzip"})
    assert "content-encoding" not in plain.headers
    assert packed.headers["content-encoding"] == "gzip"
    assert int(packed.headers["content-length"]) < int(plain.headers["content-length"]) / 5
    assert packed.text == plain.text
    assert gzip.compress(b"") != b""
    assert packed.headers["vary"] == "Accept-Encoding"


@pytest.mark.parametrize(
    "place",
    [
        "/assets/notes.md", "/assets/", "/assets/..%2f..%2fpasswords.py", "/assets/b", "/a.css",
        "/assets/b/../../../etc/passwd", "/assets//etc/passwd", "/assets/%00", "/assets/b%2fc.js/x",
    ],
)  # fmt: skip
def test_nothing_else_is_served(page: Path, place: str) -> None:
    assert get(page, place).status_code == 404


def test_a_link_that_leads_out_of_the_folder_is_served_only_if_it_was_put_there(
    page: Path,
) -> None:
    (page / "d.js").symlink_to("/etc/hostname")
    # It is in the folder by its owner's own doing; a request can name nothing that is not.
    assert get(page, "/assets/../d.js").status_code == 404


def test_the_real_page_has_no_inline_script_or_style_that_its_policy_would_block() -> None:
    for file in FOLDER.rglob("*.html"):
        text = file.read_text()
        assert not re.search(r"<script(?![^>]*\bsrc=)", text), file
        assert "<style" not in text, file
        assert not re.search(r"\s(on\w+|style)=", text), file


def test_the_real_page_asks_for_nothing_that_is_not_there() -> None:
    for place in assets(FOLDER):
        assert Path(place).suffix in TYPES
        if Path(place).suffix != ".png":
            assert get(FOLDER, place).status_code == 200, place
