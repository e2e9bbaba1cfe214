"""What the page is made of: light, whole, and fit for a strict policy. No browser is needed."""

from __future__ import annotations

import gzip
import re
from pathlib import Path

import fermd

PAGE = Path(fermd.__file__).parent / "web" / "page"
INDEX = (PAGE / "index.html").read_text("utf-8")
SCRIPTS = sorted(PAGE.rglob("*.js"))

_IMPORT = re.compile(r"^(?:import|export) \{([^}]*)\} from \"([^\"]+)\";", re.M)
_EXPORTED = re.compile(r"^export (?:async )?(?:const|function|class) (\w+)", re.M)
_LIST = re.compile(r"^export \{([^}]*)\};", re.M)


def imports(script: Path) -> list[tuple[list[str], Path]]:
    found = _IMPORT.findall(script.read_text("utf-8"))
    return [
        (
            [name.split(" as ")[0].strip() for name in names.split(",")],
            (script.parent / place).resolve(),
        )
        for names, place in found
    ]


def needed_at_once() -> set[Path]:
    """Return every module that the first number on the screen waits for."""
    found: set[Path] = set()
    waiting = [PAGE / "start.js"]
    while waiting:
        script = waiting.pop()
        if script not in found:
            found.add(script)
            waiting += [place for _, place in imports(script)]
    return found


def packed_bytes(paths: set[Path]) -> int:
    return sum(len(gzip.compress(path.read_bytes(), 9)) for path in paths)


def test_every_import_finds_what_it_names() -> None:
    for script in SCRIPTS:
        for names, place in imports(script):
            text = place.read_text("utf-8")
            listed = [name.strip() for part in _LIST.findall(text) for name in part.split(",")]
            missing = set(names) - set(_EXPORTED.findall(text)) - set(listed)
            assert not missing, f"{script}: {place.name} has no {missing}"


def test_all_that_the_first_number_waits_for_is_fetched_at_once() -> None:
    told = set(re.findall(r'rel="modulepreload" href="/assets/([^"]+)"', INDEX))
    needed = {path.relative_to(PAGE).as_posix() for path in needed_at_once()}
    assert told == needed - {"start.js"}


def test_the_page_before_the_chart_weighs_under_40_kb() -> None:
    styles = {PAGE / place for place in re.findall(r'href="/assets/(style/[^"]+)"', INDEX)}
    assert packed_bytes({PAGE / "index.html", *styles, *needed_at_once()}) < 40_000


def test_nothing_in_it_asks_a_strict_policy_for_an_exception() -> None:
    assert not re.search(r"<style|style=|<script(?![^>]*src=)|\son\w+=", INDEX)
    for script in SCRIPTS:
        text = script.read_text("utf-8")
        assert not re.search(r"\beval\(|new Function|innerHTML|setAttribute\(\"style", text), script


def test_it_asks_no_other_host_for_anything() -> None:
    for path in PAGE.rglob("*"):
        if path.suffix in (".js", ".css", ".html", ".webmanifest", ".svg"):
            hosts = set(re.findall(r"https?://([^/\"' ]+)", path.read_text("utf-8")))
            assert hosts <= {"www.w3.org"}, path
