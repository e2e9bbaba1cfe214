"""Every alarm has its page, and the page has everything that a page must have."""

from __future__ import annotations

import re

import pytest

from fermd.control.alarms import RULES, AlarmKind
from fermd.control.events import Severity
from fermd.messages.pages import FOLDER, SECTIONS, page

LONGEST_SHORT_FORM = 240
"""Of a message's parts, each: two or three lines on a phone."""


def test_there_is_one_page_for_every_alarm_and_none_beside() -> None:
    assert {path.stem for path in FOLDER.glob("*.md")} == {kind.value for kind in AlarmKind}


@pytest.mark.parametrize("kind", AlarmKind)
def test_a_page_has_every_section_in_order_and_none_is_empty(kind: AlarmKind) -> None:
    text = page(kind).text
    assert text.startswith(f"# {kind.value}: ")
    assert tuple(re.findall(r"(?m)^## (.*)$", text)) == SECTIONS
    parts = re.split(r"(?m)^## .*$", text)[1:]
    assert all(len(part.strip()) > 20 for part in parts)


@pytest.mark.parametrize("kind", AlarmKind)
def test_a_page_has_a_short_form_for_a_message(kind: AlarmKind) -> None:
    found = page(kind)
    for short in (found.fermd_does, found.to_do):
        assert 20 < len(short) <= LONGEST_SHORT_FORM
        assert short.endswith(".")
        assert "#" not in short


@pytest.mark.parametrize("kind", AlarmKind)
def test_causes_are_a_list_and_what_to_check_is_numbered(kind: AlarmKind) -> None:
    text = page(kind).text
    causes = text.split("## Likely causes")[1].split("##")[0]
    checks = text.split("## What to check first")[1].split("##")[0]
    assert re.search(r"(?m)^- ", causes)
    numbers = [int(number) for number in re.findall(r"(?m)^(\d)\. ", checks)]
    assert numbers == list(range(1, len(numbers) + 1))
    assert numbers


@pytest.mark.parametrize("kind", [k for k in AlarmKind if RULES[k].severity is Severity.CRITICAL])
def test_where_somebody_goes_to_the_chamber_the_dangers_there_are_named(kind: AlarmKind) -> None:
    cautions = page(kind).text.split("## Cautions")[1]
    assert re.search(r"mains|carbon dioxide|freez|frozen|relief valve", cautions)
    if "mains" in cautions and kind is not AlarmKind.LEASE_EXPIRED:
        assert re.search(r"local\s+codes\s+have\s+the\s+last\s+word", cautions)


@pytest.mark.parametrize(
    ("kind", "danger"),
    [
        (AlarmKind.NEAR_FREEZING, "cracked"),
        (AlarmKind.NO_EFFECT, "mains voltage"),
        (AlarmKind.BEER_TOO_WARM, "carbon dioxide"),
        (AlarmKind.BEER_TOO_WARM, "heavy"),
        (AlarmKind.WAITING_FOR_PERSON, "pressure"),
        (AlarmKind.RELAY_FAULT, "counts as on"),
    ],
)
def test_the_danger_that_goes_with_an_alarm_is_on_its_page(kind: AlarmKind, danger: str) -> None:
    cautions = " ".join(page(kind).text.split("## Cautions")[1].split())
    assert danger in cautions


@pytest.mark.parametrize("kind", AlarmKind)
def test_commands_on_a_page_are_commands_that_there_are(kind: AlarmKind) -> None:
    from fermd.cli.catalogue import COMMANDS

    for name in re.findall(r"`fermd ([a-z]+)", page(kind).text):
        assert name in COMMANDS
