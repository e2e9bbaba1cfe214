"""What really happens when the daemon is killed, gets stuck, or is kept in its sandbox.

The unit is the shipped one, the service manager is systemd, the daemon is a small stand-in that
uses the same means as the real one: the lock, the word to the service manager, the clock.
"""

from __future__ import annotations

import json

import pytest
from service_manager import Manager

pytestmark = pytest.mark.debian("systemd")

QUICKLY = {
    "RestartSec": "100ms",
    # The interpreter and these programs may lie where a daemon has nothing to see.
    "ProtectHome": "no",
    "PrivateTmp": "no",
    # The user of the service exists on machines where it is installed; this one is kept without.
    "User": "",
    "Group": "",
    "SupplementaryGroups": "",
    # The folders of an instance for one user lie elsewhere.
    "WorkingDirectory": "%S/fermd",
}

DAEMON = """
from pathlib import Path
from fermd.service.clock import SystemClock
from fermd.service.notify import ServiceManager
from fermd.service.ownership import Ownership

state = Path(os.environ["STATE_DIRECTORY"])
manager = ServiceManager.from_environment()
with SystemClock() as clock, Ownership(state / "hardware.lock"):
    manager.ready()
    say(f"started {os.getpid()}")
"""

RELEASE = """
from pathlib import Path
from fermd.service.ownership import Ownership

with Ownership(Path(os.environ["STATE_DIRECTORY"]) / "hardware.lock"):
    say("released after " + os.environ["SERVICE_RESULT"])
"""


def test_after_kill_9_the_relays_are_released_and_the_daemon_comes_back(manager: Manager) -> None:
    manager.start(
        DAEMON + "    os.kill(os.getpid(), 9)\n",
        RELEASE,
        **QUICKLY,
    )
    first = manager.hears()
    assert first.startswith("started ")
    assert manager.hears() == "released after signal"
    second = manager.hears()
    assert second.startswith("started ")
    assert second != first


def test_a_start_that_fails_releases_and_is_tried_again_without_end(manager: Manager) -> None:
    manager.start("say('tried'); sys.exit(os.EX_CONFIG)", RELEASE, **QUICKLY)
    for _ in range(8):  # more than systemd's own limit of five
        assert manager.hears() == "tried"
        assert manager.hears() == "released after exit-code"


def test_a_loop_that_ticks_is_left_alone_and_a_stuck_one_is_restarted(manager: Manager) -> None:
    stuck_after_ticks = """
    for _tick in range(20):
        clock.wait_until(clock.now().mono_s + 0.2)
        manager.alive()
    say("ticked for two periods of the watchdog")
    clock.wait_until(clock.now().mono_s + 3600.0)
"""
    manager.start(DAEMON + stuck_after_ticks, RELEASE, WatchdogSec="2", **QUICKLY)
    assert manager.hears().startswith("started ")
    assert manager.hears() == "ticked for two periods of the watchdog"
    assert manager.hears() == "released after watchdog"
    assert manager.hears().startswith("started ")


NEEDS = """
    import ctypes, json, socket, sqlite3, threading

    def tried(what):
        try:
            what()
        except OSError as error:
            return os.strerror(error.errno)
        return "done"

    def adjtimex(modes):
        room = ctypes.create_string_buffer(512)
        ctypes.c_uint.from_buffer(room).value = modes
        libc = ctypes.CDLL(None, use_errno=True)
        if libc.adjtimex(room) < 0:
            raise OSError(ctypes.get_errno(), "adjtimex")

    def journal():
        with sqlite3.connect(state / "journal.db") as database:
            database.execute("PRAGMA journal_mode = WAL")
            database.execute("CREATE TABLE t (a)")
        database.close()

    def socket_of_the_command_line():
        path = os.environ["RUNTIME_DIRECTORY"] + "/fermd.sock"
        with socket.socket(socket.AF_UNIX) as listening:
            listening.bind(path)
            os.chmod(path, 0o660)

    def page():
        import uvicorn
        with socket.create_server(("127.0.0.1", 0)) as listening:
            socket.create_connection(listening.getsockname()).close()

    def thread():
        threading.Thread(target=int).start()

    say(json.dumps({
        "ask whether the clock is set": tried(lambda: adjtimex(0)),
        "set the clock": tried(lambda: adjtimex(0x0001)),
        "know the boot": "no" if clock.boot_id().startswith("unknown") else "done",
        "know the board": tried(lambda: open("/proc/cpuinfo").close()),
        "write the journal": tried(journal),
        "open the socket": tried(socket_of_the_command_line),
        "serve the page": tried(page),
        "start a thread": tried(thread),
        "change /etc": tried(lambda: open("/etc/fermd-test", "w").close()),
        "change the kernel": tried(lambda: open("/proc/sys/vm/swappiness", "r+").close()),
        "speak netlink": tried(lambda: socket.socket(socket.AF_NETLINK).close()),
        "take a raw socket": tried(lambda: socket.socket(socket.AF_PACKET).close()),
    }))
    clock.wait_until(clock.now().mono_s + 3600.0)
"""


def test_the_sandbox_leaves_what_the_daemon_needs_and_takes_the_rest(manager: Manager) -> None:
    manager.start(DAEMON + NEEDS, RELEASE, **QUICKLY)
    assert manager.hears().startswith("started ")
    assert json.loads(manager.hears()) == {
        "ask whether the clock is set": "done",
        "set the clock": "Operation not permitted",
        "know the boot": "done",
        "know the board": "done",
        "write the journal": "done",
        "open the socket": "done",
        "serve the page": "done",
        "start a thread": "done",
        "change /etc": "Read-only file system",
        "change the kernel": "Read-only file system",
        "speak netlink": "Address family not supported by protocol",
        "take a raw socket": "Address family not supported by protocol",
    }
