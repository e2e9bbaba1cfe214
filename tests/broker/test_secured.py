"""TLS, users and passwords, against the real mosquitto."""

from __future__ import annotations

import re
import subprocess
import time
from pathlib import Path
from threading import Event

import pytest
from broker_rig import Boards, Broker, Site, run_fermd, table, until
from certificates import make_authority

pytestmark = pytest.mark.debian("mosquitto", "mosquitto-clients", "openssl")

PASSWORD = "nine barrels of lager"  # noqa: S105 - of this test alone


def broker_with_users(folder: Path, lines: str = "") -> Broker:
    passwords = folder / "passwords"
    subprocess.run(
        ["mosquitto_passwd", "-c", "-b", str(passwords), "cellar", PASSWORD],
        check=True,
        capture_output=True,
    )
    passwords.chmod(0o644)
    return Broker(folder, f"allow_anonymous false\npassword_file {passwords}\n{lines}")


def secrets(folder: Path, password: str = PASSWORD) -> Path:
    path = folder / "secrets.toml"
    path.touch(mode=0o600)
    path.write_text(f'user = "cellar"\npassword = "{password}"\n')
    return path


def secured(folder: Path, certificate: str = "broker") -> Broker:
    make_authority(folder)
    return broker_with_users(
        folder,
        f"cafile {folder}/ca.pem\ncertfile {folder}/{certificate}.pem\n"
        f"keyfile {folder}/{certificate}-key.pem\nrequire_certificate true\n",
    )


def tls(folder: Path, ca: str = "ca") -> str:
    return (
        f'tls = true\ncafile = "{ca}.pem"\ncertfile = "board.pem"\nkeyfile = "board-key.pem"\n'
        f'secrets_file = "{secrets(folder).name}"\n'
    )


def listener_arguments(folder: Path) -> list[str]:
    return [
        "--cafile", f"{folder}/ca.pem", "--cert", f"{folder}/board.pem",
        "--key", f"{folder}/board-key.pem", "-u", "cellar", "-P", PASSWORD,
    ]  # fmt: skip


def test_by_tls_with_a_client_certificate_and_a_password(folder: Path, boards: Boards) -> None:
    broker = secured(folder)
    broker.start()
    try:
        boards(more=table(broker.port, tls(folder))).start()
        topic = "fermd/cellar/chamber/lager/reading/vessel"
        until(lambda: topic in broker.kept("fermd/#", *listener_arguments(folder)))
        assert "u'cellar'" in broker.log.read_text()
    finally:
        broker.stop()


def log_settles(site: Site) -> list[str]:
    """What the log has of the broker once tries enough have been made for a storm."""
    until(site.told_of_broker)
    # The waits are 1, 2 and 4 s at the most: three tries or more.
    Event().wait(5.0)
    return site.told_of_broker()


@pytest.mark.parametrize(
    ("certificate", "ca", "why"),
    [
        ("elsewhere", "ca", r"certificate is not trusted \(.*IP address mismatch.*see host"),
        ("broker", "other-ca", r"certificate is not trusted .*cafile in \[broker\]"),
    ],
)
def test_a_broker_that_cannot_prove_who_it_is_is_told_nothing(
    folder: Path, boards: Boards, certificate: str, ca: str, why: str
) -> None:
    broker = secured(folder, certificate)
    broker.start()
    try:
        site = boards(more=table(broker.port, tls(folder, ca)))
        site.start()
        (line,) = log_settles(site)
        assert re.search(why, line), line
        assert "cellar" not in broker.log.read_text().replace(str(folder), "")
    finally:
        broker.stop()


def test_a_wrong_password_is_one_line_and_a_right_one_is_taken_up_without_a_restart(
    folder: Path, boards: Boards
) -> None:
    broker = broker_with_users(folder)
    broker.start()
    try:
        path = secrets(folder, "wrong")
        site = boards(more=table(broker.port, f'secrets_file = "{path.name}"\n'))
        site.start()
        (line,) = log_settles(site)
        assert "not authorized" in line
        assert "secrets_file in [broker]" in line
        assert "wrong" not in line
        tries = broker.log.read_text().count("not authorised")
        assert 2 <= tries <= 12
        secrets(folder)
        until(
            lambda: "fermd/cellar/state" in broker.kept("fermd/#", "-u", "cellar", "-P", PASSWORD)
        )
        assert PASSWORD not in site.log.read_text()
    finally:
        broker.stop()


def test_secrets_that_others_can_read_are_not_used(folder: Path, boards: Boards) -> None:
    broker = broker_with_users(folder)
    broker.start()
    try:
        path = secrets(folder)
        path.chmod(0o644)
        site = boards(more=table(broker.port, f'secrets_file = "{path.name}"\n'))
        site.start()
        (line,) = log_settles(site)
        assert f"{path}: others may read or change it (mode 0644); `chmod 600 {path}`" in line
        assert "fermd" not in broker.log.read_text().replace(str(folder), "")
        path.chmod(0o600)
        until(lambda: broker.kept("fermd/#", "-u", "cellar", "-P", PASSWORD))
    finally:
        broker.stop()


def test_two_boards_under_one_id_are_told_of_it_and_do_not_storm(
    broker: Broker, boards: Boards, folder: Path
) -> None:
    broker.start()
    same = table(broker.port, 'client_id = "the-same"\n')
    one, other = boards("one", same), boards("other", same)
    one.start()
    until(lambda: "fermd/one/state" in broker.kept("fermd/#"))
    other.start()
    until(lambda: "a site_name, or a client_id" in one.log.read_text())
    began_s = time.monotonic()
    before = broker.log.read_text().count("already connected, closing old connection")
    Event().wait(8.0)
    after = broker.log.read_text().count("already connected, closing old connection")
    # Each waits longer and longer: 1, 2, 4 ... s, not one take-over after the other.
    assert after - before <= time.monotonic() - began_s
    warnings = [line for line in one.told_of_broker() if "nothing is published" in line]
    assert len(warnings) == 1


def test_the_check_names_the_file_and_the_key(folder: Path, boards: Boards) -> None:
    path = secrets(folder)
    path.write_text('user = "cellar"\npassword = 7\n')
    lines = f'tls = true\ncafile = "nowhere.pem"\nsecrets_file = "{path.name}"\n'
    site = boards(more=table(1883, lines) + "\n")
    ended = run_fermd(["check", "--site", str(site.path)])
    assert ended.returncode == 78, ended.stderr
    assert "Traceback" not in ended.stderr
    secret, cafile = ended.stderr.splitlines()
    assert re.search(r"cellar\.toml: broker\.secrets_file = .*password: must be text", secret)
    assert re.search(r"cellar\.toml: broker\.tls = true: .*nowhere\.pem.*cannot be read", cafile)


def test_the_check_warns_of_a_password_that_goes_about_unencrypted(
    folder: Path, boards: Boards
) -> None:
    more = f'[broker]\nhost = "192.0.2.7"\nsecrets_file = "{secrets(folder).name}"\n'
    ended = run_fermd(["check", "--site", str(boards(more=more).path)])
    assert ended.returncode == 0, ended.stderr
    assert "caution: broker.tls = false: the password goes over the network" in ended.stdout
