"""What the README of messages shows can be used as it stands."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest

import fermd.messages
from fermd.cli.catalogue import COMMANDS
from fermd.config.example import SHORT_SITE
from fermd.config.messages import MessageSettings, RecipientSettings
from fermd.config.site_file import parse_site
from fermd.config.toml_file import parse_toml
from fermd.messages.box import MOST_WAITING
from fermd.messages.desk import FLAP_RAISES, FLAP_WITHIN_S, STEADY_S
from fermd.messages.post import STALE_S
from fermd.messages.sending import Sending
from fermd.messages.trying import FIRST_RETRY_S, LONGEST_RETRY_S

README = (Path(fermd.messages.__file__).parent / "README.md").read_text(encoding="utf-8")
TOP = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"(?ms)^```(\w+)\n(.*?)^```", README)


def block(kind: str, holding: str) -> str:
    (found,) = [text for one, text in BLOCKS if one == kind and holding in text]
    return found


@pytest.mark.parametrize("readme", [README, TOP])
def test_the_tables_that_are_shown_are_good(readme: str) -> None:
    (shown,) = re.findall(r"(?ms)^```toml\n(\[messages\].*?)^```", readme)
    site = parse_site(SHORT_SITE + shown, Path("/etc/fermd/fermd.toml"))
    assert site.messages is not None
    assert "anna" in site.messages.to


def test_the_addresses_that_are_shown_are_addresses(tmp_path: Path) -> None:
    text = block("toml", "mailtos://")
    shown = parse_toml(text, "README")
    secrets = tmp_path / "addresses.toml"
    secrets.touch(mode=0o600)
    secrets.write_text(text)
    sending = Sending(MessageSettings(secrets_file=secrets))
    for name in shown:
        if name != "heartbeat":
            sending.check(name, RecipientSettings())


def test_the_commands_that_are_shown_are_commands() -> None:
    for line in re.findall(r"`(?:sudo )?(fermd [^`]+)`", README):
        assert shlex.split(line)[1] in COMMANDS, line


def test_the_numbers_are_those_of_the_code() -> None:
    settings = MessageSettings()
    words = " ".join(README.split())
    assert settings.gather_s == 60.0
    assert "gathered for a minute" in words
    assert (settings.repeat_s, settings.repeat_growth) == (900.0, 2.0)
    assert settings.longest_repeat_s == 4 * 3600.0
    assert "again after 15 min, 30 min, 1 h, 2 h, then every 4 h" in words
    assert (FLAP_RAISES, FLAP_WITHIN_S, STEADY_S) == (3, 3 * 3600.0, 3600.0)
    assert "raised three times within three hours" in words
    assert "settled for an hour" in words
    assert f"at most {MOST_WAITING} things" in words
    assert (FIRST_RETRY_S, LONGEST_RETRY_S) == (10.0, 900.0)
    assert "after 10 s, then after waits that double up to 15 min" in words
    assert STALE_S == 600.0
    assert "After ten minutes of that" in words
