"""What publishing to an MQTT broker costs: CPU and messages a minute, of 1 and of 10 chambers.

    python tests/benchmarks/publisher_cost.py [--for-s 300] [--settle-s 120] [1 10]

For each number of chambers two daemons run side by side at real time, a process of `fermd run`
each, on simulated plants sampled every ten seconds: one that publishes to the real mosquitto on
this machine, and one that has no broker. Their CPU is what the kernel's scheduler counts of all
their threads (proc(5), schedstat), in the same window; messages are counted by Debian's
mosquitto_sub. Nearly all of the time everybody sleeps.

Measured over 300 s, of one core of a virtual machine that others used, too:

    ========  ==========  =========  ==================  ================
    chambers  without     with it    for it              told, a minute
    ========  ==========  =========  ==================  ================
    1         91 ms/min   108 ms     17 ms (0.03 %)      13, and 3 kB
    10        99 ms/min   126 ms     27 ms (0.05 %)      124, and 30 kB
    ========  ==========  =========  ==================  ================
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from contextlib import ExitStack
from pathlib import Path

sys.path.append(str(Path(__file__).parents[1] / "broker"))

from broker_rig import Broker, table
from many_chambers import running


def main() -> None:
    """Print what each daemon took, and what the broker was told."""
    options = _options()
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        broker = Broker(folder)
        broker.start()
        stack.callback(broker.stop)
        pids: dict[tuple[int, bool], int] = {}
        for chambers in options.chambers:
            for publishes in (False, True):
                place = folder / f"{chambers}-{publishes}"
                place.mkdir()
                # Both boards have this machine's name: a broker would hang up on one of them.
                name = f"of-{chambers}"
                own = f'client_id = "{name}"\ntopic = "{name}"\n'
                more = table(broker.port, own) if publishes else ""
                daemon = running(place, chambers, 1.0, more)
                pid, client = stack.enter_context(daemon)
                pids[chambers, publishes] = pid
                for number in range(chambers):
                    order = {"command": "set-target", "target_c": 14.0, "who": "benchmark"}
                    client.order(f"c{number}", order)
        listener = stack.enter_context(broker.listening("#"))
        time.sleep(options.settle_s)
        heard = len(listener.heard)
        before = {which: _cpu_s(pid) for which, pid in pids.items()}
        began_s = time.monotonic()
        time.sleep(options.for_s)
        took_s = time.monotonic() - began_s
        used = {which: _cpu_s(pid) - before[which] for which, pid in pids.items()}
        told = listener.heard[heard:]
    for chambers in options.chambers:
        without, with_it = (used[chambers, publishes] for publishes in (False, True))
        ours = [one for one in told if one.topic.startswith(f"of-{chambers}/")]
        bytes_told = sum(len(one.topic) + len(one.payload) for one in ours)
        per_minute = 60.0 / took_s
        print(
            f"{chambers:3} chambers: {without * per_minute * 1e3:6.1f} ms CPU a minute without a "
            f"broker, {with_it * per_minute * 1e3:6.1f} ms with it: "
            f"{(with_it - without) * per_minute * 1e3:5.1f} ms for "
            f"{len(ours) * per_minute:6.1f} messages and {bytes_told * per_minute / 1e3:5.1f} kB "
            f"a minute, {1e2 * (with_it - without) / took_s:.3f} % of a core",
            flush=True,
        )


def _cpu_s(pid: int) -> float:
    """Time on a processor of all threads of a process, s."""
    threads = Path(f"/proc/{pid}/task").iterdir()
    return sum(int((one / "schedstat").read_text("ascii").split()[0]) for one in threads) / 1e9


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("chambers", type=int, nargs="*", default=[1, 10])
    parser.add_argument("--for-s", type=float, default=300.0, help="how long is measured, s")
    parser.add_argument("--settle-s", type=float, default=120.0, help="how long before that, s")
    return parser.parse_args()


if __name__ == "__main__":
    main()
