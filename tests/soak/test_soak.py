"""The soak as a command: twenty kills and all the rest; nothing is lost, nothing short-cycles."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

SOAK = Path(__file__).with_name("soak.py")


def test_twenty_kills_and_all_that_a_board_may_live_through_break_no_promise(
    tmp_path: Path,
) -> None:
    ran = subprocess.run(
        [sys.executable, str(SOAK), "--kills", "20", "--seed", "7", "--json", "--keep", tmp_path],
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )
    assert ran.returncode == 0, ran.stderr
    figures = json.loads(ran.stdout)
    assert figures["violations"] == []
    assert figures["kills"] >= 20
    # The soak was one: something ran, was written, killed, copied, torn and filled.
    assert figures["compressor_starts"] >= 3
    assert figures["kills_with_a_relay_on"] >= 1
    assert figures["rows_checked"] > 1000
    assert figures["power_cuts_on_copies"] == 2
    assert figures["torn_logs"] == 1
    assert figures["disk_full_episodes"].get("noticed", 0) >= 1
    assert figures["clock_steps"] >= 1
    assert figures["second_daemons_refused"] == 2
    assert figures["watchdog_aborts"] == figures["unexpected_exceptions"] == 1
