"""A file that cannot be read at all gives one clear error, never a traceback."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from fermd.config.errors import ConfigError, key_text
from fermd.config.example import SHORT_SITE
from fermd.config.profile_file import load_profile
from fermd.config.site_file import load_site
from fermd.config.toml_file import LARGEST_FILE_BYTES


def error_of(path: Path) -> ConfigError:
    with pytest.raises(ConfigError) as site:
        load_site(path)
    with pytest.raises(ConfigError) as profile:
        load_profile(path)
    assert str(site.value) == str(profile.value)
    assert len(site.value.faults) == 1
    return site.value


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"", "is empty"),
        (b"# nothing but a comment\n", "is empty"),
        (b"\xef\xbb\xbftime_zone = 'UTC'\n", "byte order mark"),
        ("time_zone = 'UTC'\n".encode("utf-16"), "UTF-16"),
        (b"# one\nname = '\xe9'\n", "line 2: byte 0xe9 is not UTF-8"),
        (b"a = 1\nb = = 2\n", "line 2, column 5: is not TOML"),
        (b"a = 1\na = 2\n", "line 2, column 6: this key or table is there a second time"),
        (b"[x]\n[x]\n", "line 2, column 3: this key or table is there a second time"),
        (b"a = " + b"1" * 5000, "is not TOML"),
        (b"a = 2026-02-30\n", "is not TOML"),
        (b"a = " + b"[" * 3000 + b"]" * 3000, "nested too deeply"),
        (b".".join([b"a"] * 3000) + b" = 1", "nested too deeply"),
        (b"a = '\x00'\n", "is not TOML"),
    ],
)
def test_what_is_not_toml_is_told_with_its_place(tmp_path: Path, content: bytes, why: str) -> None:
    file = tmp_path / "fermd.toml"
    file.write_bytes(content)
    error = error_of(file)
    assert str(error).startswith(f"{file}: ")
    assert why in str(error)
    assert "\n" not in str(error)
    assert error.exit_code == os.EX_CONFIG


def test_a_missing_file_is_told_by_name(tmp_path: Path) -> None:
    error = error_of(tmp_path / "fermd.toml")
    assert str(error) == f"{tmp_path}/fermd.toml: does not exist; check the name and the folder"
    assert error.exit_code == os.EX_NOINPUT


def test_a_folder_is_no_file(tmp_path: Path) -> None:
    assert str(error_of(tmp_path)) == f"{tmp_path}: is a folder; name the file in it"


def test_a_file_below_a_file_does_not_exist(tmp_path: Path) -> None:
    (tmp_path / "x").write_text("")
    assert "cannot be read: Not a directory" in str(error_of(tmp_path / "x" / "fermd.toml"))


def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    assert "is not an ordinary file" in str(error_of(tmp_path / "pipe"))


def test_a_name_with_a_nul_in_it_is_no_file() -> None:
    assert "is not a possible file name" in str(error_of(Path("a\0b")))


def test_a_link_to_itself_is_told(tmp_path: Path) -> None:
    (tmp_path / "loop").symlink_to("loop")
    assert "cannot be read" in str(error_of(tmp_path / "loop"))


def test_a_huge_file_is_not_read(tmp_path: Path) -> None:
    file = tmp_path / "fermd.toml"
    file.write_bytes(b"#" * (LARGEST_FILE_BYTES + 1))
    assert "at most 1000000 are read" in str(error_of(file))


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
def test_a_file_that_may_not_be_read_is_told(tmp_path: Path) -> None:
    file = tmp_path / "fermd.toml"
    file.write_text(SHORT_SITE)
    file.chmod(0)
    error = error_of(file)
    assert "may not be read by this user" in str(error)
    assert error.exit_code == os.EX_NOPERM


def test_a_folder_that_may_not_be_entered_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object, **__: object) -> os.stat_result:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "stat", refuse)
    assert "may not be read by this user" in str(error_of(tmp_path / "fermd.toml"))


def test_windows_line_ends_are_fine(tmp_path: Path) -> None:
    file = tmp_path / "fermd.toml"
    file.write_bytes(SHORT_SITE.replace("\n", "\r\n").encode())
    assert load_site(file).settings.chambers[0].name == "lager"


def test_a_key_as_long_as_a_file_is_shown_shortened() -> None:
    assert len(key_text(["chamber", "x" * 100_000, "cool"])) < 100
