"""The secrets file: what is wrong with it is said, and what is in it never."""

from __future__ import annotations

from pathlib import Path

import pytest

from fermd.broker.credentials import Credentials, read_credentials
from fermd.broker.errors import SecretsError

SECRET = "tiptop-secret"  # noqa: S105 - of this test alone


def secrets(folder: Path, text: str, mode: int = 0o600) -> Path:
    path = folder / "broker.toml"
    path.write_bytes(text.encode("utf-8", "surrogateescape"))
    path.chmod(mode)
    return path


def test_user_and_password_are_read(tmp_path: Path) -> None:
    found = read_credentials(secrets(tmp_path, f'user = "cellar"\npassword = "{SECRET}"\n'))
    assert found == Credentials("cellar", SECRET)
    assert SECRET not in repr(found)


def test_a_user_may_be_known_without_a_password(tmp_path: Path) -> None:
    assert read_credentials(secrets(tmp_path, 'user = "cellar"\n')) == Credentials("cellar")


@pytest.mark.parametrize(
    ("text", "mode", "why"),
    [
        (f'password = "{SECRET}"', 0o600, "user: is missing"),
        (f'user = ""\npassword = "{SECRET}"', 0o600, "user: must be text"),
        (f'user = 1\npassword = "{SECRET}"', 0o600, "user: must be text"),
        (f'user = "x"\n{SECRET} = "y"', 0o600, "a key beside user and password"),
        (f'user = "x"\npassword = {SECRET}', 0o600, "is no TOML"),
        (f'user = "x"\npassword = "{SECRET}\\u0000"', 0o600, "no NUL"),
        (f'user = "x"\npassword = "{SECRET * 100}"', 0o600, "at most 1024 bytes"),
        (f'user = "x"\npassword = "{SECRET * 1000}"', 0o600, "at most 4096 bytes"),
        (f'user = "x"\npassword = "{SECRET}\udcff"', 0o600, "UTF-8"),
        (f'user = "x"\npassword = "{SECRET}"', 0o640, "mode 0640"),
        (f'user = "x"\npassword = "{SECRET}"', 0o602, "mode 0602"),
    ],
)
def test_what_is_wrong_is_told_without_the_secret(
    tmp_path: Path, text: str, mode: int, why: str
) -> None:
    path = secrets(tmp_path, text, mode)
    with pytest.raises(SecretsError, match=why) as caught:
        read_credentials(path)
    assert str(path) in str(caught.value)
    assert SECRET not in str(caught.value)


def test_a_file_that_is_not_there_or_no_file_is_told(tmp_path: Path) -> None:
    with pytest.raises(SecretsError, match="cannot be read"):
        read_credentials(tmp_path / "nowhere")
    tmp_path.chmod(0o700)
    with pytest.raises(SecretsError, match="ordinary file"):
        read_credentials(tmp_path)
