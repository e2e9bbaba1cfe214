"""The table [messages]: what is wrong with it comes with its key."""

from __future__ import annotations

from pathlib import Path

import pytest

from fermd.config.errors import ConfigError
from fermd.config.example import SHORT_SITE
from fermd.config.messages import MessageSettings
from fermd.config.site_file import parse_site
from fermd.control.calendar import CalendarTime
from fermd.control.events import Severity

ANNA = "[messages.to.anna]\n"


def messages(table: str, more: str = "") -> MessageSettings:
    text = f"{SHORT_SITE}\n{more}\n[messages]\n{table}"
    found = parse_site(text, Path("/srv/beer/fermd.toml")).messages
    assert found is not None
    return found


def test_without_the_table_nobody_is_told() -> None:
    assert parse_site(SHORT_SITE, Path("fermd.toml")).messages is None


def test_a_name_is_enough_for_a_recipient() -> None:
    found = messages(ANNA)
    assert found.to["anna"].least is Severity.NOTICE
    assert found.heartbeat is None
    assert (found.quiet_from, found.digest_rule) == (None, CalendarTime(8, 0))


def test_the_file_with_the_addresses_is_looked_for_beside_the_site_file() -> None:
    found = messages('secrets_file = "addresses.toml"\n' + ANNA)
    assert found.secrets_file == Path("/srv/beer/addresses.toml")


def test_the_scale_is_that_of_the_page_unless_messages_have_their_own() -> None:
    page = '[web]\nlisten = "192.0.2.7:8080"\nunits = "F"\n'
    assert messages(ANNA).units == "C"
    assert messages(ANNA, page).units == "F"
    assert messages('units = "C"\n' + ANNA, page).units == "C"


@pytest.mark.parametrize(
    ("table", "why"),
    [
        ("", r"messages\.to: is missing"),
        ('quiet_from = "22:00"\n' + ANNA, r"messages\.quiet_until: is missing"),
        ('quiet_until = "07:00"\n' + ANNA, r"messages\.quiet_from: is missing"),
        ('quiet_from = "fri 22:00"\nquiet_until = "07:00"\n' + ANNA, r"quiet_from = .*every day"),
        ('quiet_from = "07:00"\nquiet_until = "07:00"\n' + ANNA, r"quiet_until = .*another time"),
        ('quiet_from = "25:00"\nquiet_until = "07:00"\n' + ANNA, r"messages\.quiet_from = "),
        ('digest_at = "2026-12-24 08:00"\n' + ANNA, r"messages\.digest_at = .*comes again"),
        ("repeat_s = 7200\nlongest_repeat_s = 3600\n" + ANNA, r"longest_repeat_s = .*at least"),
        ("repeat_s = 20000\n" + ANNA, r"messages\.repeat_s = .*at most longest_repeat_s"),
        ("repeat_growth = 0.5\n" + ANNA, r"messages\.repeat_growth = 0\.5: must be from 1 to 10"),
        ("gather_s = 1\n" + ANNA, r"messages\.gather_s = 1"),
        ('secrets_file = "~/addresses"\n' + ANNA, r"messages\.secrets_file = .*home folder"),
        (ANNA + 'chambers = ["laager"]\n', r'to\.anna\.chambers = .*did you mean "lager"'),
        (ANNA + 'least = "worst"\n', r'to\.anna\.least = "worst": .*"critical"'),
        (ANNA + "command = []\n", r"to\.anna\.command = .*whole path"),
        (ANNA + 'command = ["ring"]\n', r"to\.anna\.command = .*no shell"),
        (ANNA + 'command = "ring --loud"\n', r"to\.anna\.command = "),
        (
            ANNA + 'command = ["/bin/true"]\naddress = "a"\n',
            r"to\.anna\.address = .*beside command",
        ),
        (ANNA + 'url = "mailto://x"\n', r"to\.anna\.url = .*unknown key"),
        ("[messages.to.Anna]\n" + ANNA, r"messages\.to\.anna: is the same name"),
        ('[messages.to."a b"]\n', r'messages\.to\."a b": must be a name of letters'),
        ("[messages.heartbeat]\nevery_s = 1\n", r"messages\.heartbeat\.every_s = 1"),
        ('[messages.heartbeat]\nmethod = "PUT"\n', r'heartbeat\.method = "PUT": .*"GET" or "POST"'),
    ],
)
def test_what_contradicts_itself_is_told_with_its_key(table: str, why: str) -> None:
    with pytest.raises(ConfigError, match=why) as raised:
        messages(table)
    assert len(raised.value.faults) == 1


def test_a_heartbeat_alone_is_enough() -> None:
    found = messages('[messages.heartbeat]\nmethod = "POST"\nevery_s = 60\n')
    assert found.heartbeat is not None
    assert (found.heartbeat.method, found.heartbeat.every_s) == ("POST", 60.0)


def test_no_more_recipients_than_can_be_served() -> None:
    with pytest.raises(ConfigError, match="at most 20"):
        messages("".join(f"[messages.to.n{n}]\n" for n in range(21)))
