"""`fermd password`: the hash in a file of its owner alone, and nothing else of it anywhere."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import pytest
from cli_rig import run

from fermd.config.example import SHORT_SITE
from fermd.web.passwords import PasswordError, PasswordFile, write_password

PASSWORD = "correct horse battery"  # noqa: S105 - of this test alone


@pytest.fixture
def site(tmp_path: Path) -> Path:
    path = tmp_path / "fermd.toml"
    path.write_text(f'{SHORT_SITE}\n[web]\nlisten = "127.0.0.1:8080"\npassword_file = "secret"\n')
    return path


def test_the_password_is_kept_as_a_hash_that_only_its_owner_may_read(site: Path) -> None:
    before = os.umask(0)
    try:
        ended = run("password", "--site", str(site), typed=f"{PASSWORD}\n")
    finally:
        os.umask(before)
    assert ended.code == 0, ended.err
    path = site.parent / "secret"
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    text = path.read_text()
    assert text.startswith("$argon2id$v=19$m=9216,t=4,p=1$")
    assert PASSWORD not in text
    assert PASSWORD not in ended.out + ended.err
    kept = PasswordFile(path)
    assert kept.is_right(PASSWORD)
    for wrong in ("", PASSWORD[:-1], PASSWORD.upper(), PASSWORD + "\n", "x" * 100_000):
        assert not kept.is_right(wrong)


@pytest.mark.parametrize("password", ["", "short", "x" * 257])
def test_a_password_that_is_none_changes_nothing(site: Path, password: str) -> None:
    write_password(site.parent / "secret", PASSWORD)
    ended = run("password", "--site", str(site), typed=f"{password}\n")
    assert ended.code == os.EX_DATAERR
    assert "8 to 256 characters" in ended.err
    assert PasswordFile(site.parent / "secret").is_right(PASSWORD)
    assert sorted(one.name for one in site.parent.iterdir()) == ["fermd.toml", "secret"]


def test_a_folder_that_is_not_there_says_what_to_do(site: Path) -> None:
    site.write_text(site.read_text().replace('"secret"', '"none/secret"'))
    ended = run("password", "--site", str(site), typed=f"{PASSWORD}\n")
    assert ended.code == os.EX_CANTCREAT
    assert "none/secret" in ended.err


@pytest.mark.parametrize("text", ["", "hello", "$2b$12$abcdefghijklmnopqrstuv", "\xff" * 40])
def test_a_file_that_holds_no_hash_is_no_password(tmp_path: Path, text: str) -> None:
    path = tmp_path / "secret"
    path.write_text(text)
    path.chmod(0o600)
    with pytest.raises(PasswordError, match="fermd password"):
        PasswordFile(path).check()


def test_a_pipe_in_place_of_the_file_holds_nothing_up(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "secret", 0o600)
    with pytest.raises(PasswordError, match="no ordinary file"):
        PasswordFile(tmp_path / "secret").check()
