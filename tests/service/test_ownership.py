"""One owner of the hardware, tried with real processes and real kills."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

import fermd
from fermd.service.ownership import LOCK_NAME, OwnedElsewhere, Ownership, OwnershipError

DAEMON = """
import sys
from pathlib import Path
from fermd.service.ownership import Ownership, OwnershipError

try:
    with Ownership(Path(sys.argv[1]), ["fermd", "run", "--site", "my site.toml"]):
        print("owner", flush=True)
        sys.stdin.read()
except OwnershipError as error:
    print(error, file=sys.stderr)
    sys.exit(error.exit_code)
"""


def _start(lock: Path) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", DAEMON, str(lock)],
        env={**os.environ, "PYTHONPATH": str(Path(fermd.__file__).parent.parent)},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


@contextmanager
def _running_daemon(lock: Path) -> Iterator[subprocess.Popen[str]]:
    with _start(lock) as daemon:
        try:
            assert daemon.stdout is not None
            assert daemon.stdout.readline() == "owner\n"
            yield daemon
        finally:
            daemon.kill()


@pytest.fixture
def lock(tmp_path: Path) -> Path:
    return tmp_path / LOCK_NAME


def test_a_second_daemon_refuses_to_start_and_says_who_holds_the_hardware(lock: Path) -> None:
    with _running_daemon(lock) as first:
        second = _start(lock)
        _, complaint = second.communicate(timeout=60)
        assert second.returncode == os.EX_TEMPFAIL
        written = json.loads(lock.read_text())
        assert written["pid"] == first.pid
        assert f"process {first.pid}" in complaint
        assert written["since_utc"] in complaint
        assert str(lock) in complaint
        assert "fermd run --site 'my site.toml'" in complaint
        assert "stop it first" in complaint
        assert "Traceback" not in complaint
        assert first.poll() is None  # the first is not disturbed


def test_the_holder_is_told_apart_as_data(lock: Path) -> None:
    with _running_daemon(lock) as daemon:
        with pytest.raises(OwnedElsewhere) as caught, Ownership(lock):
            pass
        assert caught.value.holder is not None
        assert caught.value.holder.pid == daemon.pid
        assert caught.value.holder.host == os.uname().nodename


@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGTERM, signal.SIGSEGV])
def test_however_the_owner_ends_the_next_one_can_start(lock: Path, how: signal.Signals) -> None:
    with _running_daemon(lock) as daemon:
        daemon.send_signal(how)
        daemon.wait(timeout=60)
    with _running_daemon(lock) as next_daemon:
        assert json.loads(lock.read_text())["pid"] == next_daemon.pid


def test_an_owner_that_ends_in_order_leaves_no_name_behind(lock: Path) -> None:
    with Ownership(lock):
        assert json.loads(lock.read_text())["pid"] == os.getpid()
    assert lock.read_text() == ""
    with Ownership(lock):
        pass


def test_an_owner_that_fails_lets_go(lock: Path) -> None:
    with pytest.raises(ZeroDivisionError), Ownership(lock):
        raise ZeroDivisionError
    with Ownership(lock):
        pass


def test_a_program_that_the_owner_starts_does_not_keep_the_hardware(lock: Path) -> None:
    with Ownership(lock):
        child = subprocess.Popen(
            [sys.executable, "-c", "import sys; print('up', flush=True); sys.stdin.read()"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            close_fds=False,
        )
        # Only now has it surely closed what it inherited: the kernel does so one by one at exec.
        assert child.stdout is not None
        child.stdout.readline()
    try:
        with Ownership(lock):
            pass
    finally:
        child.kill()
        child.wait()
        assert child.stdin is not None
        child.stdin.close()
        child.stdout.close()


def test_releasing_twice_does_not_take_the_lock_from_the_next_owner(lock: Path) -> None:
    first = Ownership(lock)
    with first:
        pass
    with Ownership(lock):
        first.release()
        with pytest.raises(OwnedElsewhere), Ownership(lock):
            pass


@pytest.mark.parametrize("text", ["", "fermd\n", "[]", '{"pid": "x"}', "\0" * 9000])
def test_a_holder_that_cannot_be_read_still_holds(lock: Path, text: str) -> None:
    with Ownership(lock):
        lock.write_text(text)
        with pytest.raises(OwnedElsewhere, match="has not written its name yet") as caught:
            Ownership(lock).__enter__()
        assert caught.value.holder is None
        assert "fuser" in str(caught.value)


def test_text_left_by_a_killed_owner_is_no_owner(lock: Path) -> None:
    lock.write_text('{"pid": 1, "since_utc": "2026-01-01T00:00:00+00:00", "host": "x"' + " " * 500)
    with Ownership(lock):
        assert json.loads(lock.read_text())["pid"] == os.getpid()


def test_a_missing_state_folder_is_named(tmp_path: Path) -> None:
    with pytest.raises(OwnershipError, match=r"Make the folder .*/nowhere"):
        Ownership(tmp_path / "nowhere" / LOCK_NAME).__enter__()


def test_a_link_in_the_locks_place_is_not_followed(lock: Path, tmp_path: Path) -> None:
    target = tmp_path / "precious"
    target.write_text("kept")
    lock.symlink_to(target)
    with pytest.raises(OwnershipError, match="symbolic link"):
        Ownership(lock).__enter__()
    assert target.read_text() == "kept"


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can make a file that is not its own")
def test_a_lock_that_root_made_by_hand_belongs_to_the_services_user(tmp_path: Path) -> None:
    folder = tmp_path / "state"
    folder.mkdir()
    os.chown(folder, 12345, 12346)
    with Ownership(folder / LOCK_NAME):
        made = (folder / LOCK_NAME).stat()
    assert (made.st_uid, made.st_gid) == (12345, 12346)


def test_a_full_disk_costs_the_name_and_not_the_lock(caplog: pytest.LogCaptureFixture) -> None:
    """/dev/full takes no byte, as a full disk does not."""
    with Ownership(Path("/dev/full")):
        assert "the holder's name is not in it" in caplog.text
        with pytest.raises(OwnedElsewhere), Ownership(Path("/dev/full")):
            pass
