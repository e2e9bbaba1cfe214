"""What open pages cost the daemon: 5 of them, then 50 for an hour of the site's time.

The real daemon runs in a process of its own, in charge of a simulated chamber sixty times faster
than real. Each page logs in, holds a live stream, and asks for the chart of the last day and for
the forecast as a person who looks would. Told are the daemon's memory and processor time, whether
either grows, and how many ticks control did in the time, with and without the pages.

    .venv/bin/python tests/benchmarks/page_clients.py [--pages 50] [--minutes 60]
"""

from __future__ import annotations

import argparse
import asyncio
import os
import socket
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx

from fermd.web.passwords import write_password

PACE = 60
PASSWORD = "correct horse battery"  # noqa: S105 - of this run alone
SITE = f"""\
time_zone = "Europe/Vienna"
journal_path = "journal.db"
socket_path = "s"
[probe.vessel]
id = "28-000006b67845"
[probe.air]
id = "28-0000071a2b3c"
[output.fridge]
gpio = 17
active = "low"
duty = "cool"
[output.belt]
gpio = 27
active = "low"
duty = "heat"
[chamber.lager]
vessel_probe = "vessel"
air_probe = "air"
outputs = ["fridge", "belt"]
[web]
listen = "127.0.0.1:PORT"
password_file = "password"
[simulated]
times_real_time = {PACE}
"""
RUN = "import sys; from fermd.cli import main; sys.argv = ['fermd', *sys.argv[1:]]; main()"


@dataclass
class Figures:
    """The daemon at one moment."""

    resident_mb: float
    threads: int
    cpu_s: float
    ticks: int
    at_s: float


def look(pid: int, http: httpx.Client) -> Figures:
    """Look at the daemon."""
    status = Path(f"/proc/{pid}/status").read_text()
    values = dict(line.split(":", 1) for line in status.splitlines())
    stat = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return Figures(
        int(values["VmRSS"].split()[0]) / 1024.0,
        int(values["Threads"]),
        (int(stat[11]) + int(stat[12])) / os.sysconf("SC_CLK_TCK"),
        http.get("/api/status").json()["tick"],
        time.monotonic(),
    )


class Page:
    """One open page."""

    def __init__(self, address: str, cookie: str) -> None:
        self._client = httpx.AsyncClient(base_url=address, headers={"Cookie": cookie}, timeout=60.0)
        self.statuses = 0
        self.beats = 0
        self.slowest_s = 0.0
        self.faults: list[str] = []
        self._last_s = time.monotonic()
        self.longest_silence_s = 0.0

    async def live(self) -> None:
        """Hold a stream."""
        async with self._client.stream("GET", "/api/live") as answer:
            async for line in answer.aiter_lines():
                if line.startswith("event: "):
                    now_s = time.monotonic()
                    self.longest_silence_s = max(self.longest_silence_s, now_s - self._last_s)
                    self._last_s = now_s
                    self.statuses += line == "event: status"
                    self.beats += line == "event: beat"

    async def looks(self, every_s: float) -> None:
        """Ask for chart and forecast now and then."""
        while True:
            for place in ("curves?points=500", "forecast"):
                began_s = time.monotonic()
                answer = await self._client.get(f"/api/chambers/lager/{place}")
                self.slowest_s = max(self.slowest_s, time.monotonic() - began_s)
                if answer.status_code != 200:
                    self.faults.append(f"{place}: {answer.status_code}")
            await asyncio.sleep(every_s)

    async def close(self) -> None:
        """Go away."""
        await self._client.aclose()


async def open_pages(
    address: str, cookie: str, count: int, seconds: float, look_again: Any
) -> tuple[list[Page], list[Figures]]:
    """Hold so many pages open for so long; figures are taken ten times in between."""
    pages = [Page(address, cookie) for _ in range(count)]
    tasks = [asyncio.create_task(page.live()) for page in pages]
    tasks += [asyncio.create_task(page.looks(30.0)) for page in pages]
    figures = []
    for _ in range(10):
        await asyncio.sleep(seconds / 10.0)
        figures.append(await asyncio.to_thread(look_again))
    for task in tasks:
        task.cancel()
    ended = await asyncio.gather(*tasks, return_exceptions=True)
    faults = [one for one in ended if not isinstance(one, asyncio.CancelledError)]
    assert not faults, faults
    for page in pages:
        await page.close()
    return pages, figures


def tell(name: str, figures: list[Figures], pages: list[Page] | None = None) -> None:
    """Print what was seen."""
    first, last = figures[0], figures[-1]
    took_s = last.at_s - first.at_s
    ticks_s = (last.ticks - first.ticks) / took_s
    cpu = (last.cpu_s - first.cpu_s) / took_s
    print(
        f"{name}: resident {first.resident_mb:.1f} to {last.resident_mb:.1f} MB "
        f"(most {max(one.resident_mb for one in figures):.1f}), {last.threads} threads, "
        f"{cpu:.1%} of a core at {PACE} times real time, {ticks_s:.2f} ticks a second "
        f"({PACE / 10.0:.2f} are due)"
    )
    if pages:
        print(
            f"    each page heard {min(p.statuses for p in pages)} to "
            f"{max(p.statuses for p in pages)} statuses and at least "
            f"{min(p.beats for p in pages)} beats; longest silence "
            f"{max(p.longest_silence_s for p in pages):.1f} s; slowest chart or forecast "
            f"{max(p.slowest_s for p in pages):.2f} s; faults: "
            f"{sum(len(p.faults) for p in pages)}"
        )


def main() -> None:
    """Run it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pages", type=int, default=50)
    parser.add_argument("--minutes", type=float, default=60.0, help="of the site's time")
    asked = parser.parse_args()
    with socket.socket() as trial:
        trial.bind(("127.0.0.1", 0))
        port = trial.getsockname()[1]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "fermd.toml").write_text(SITE.replace("PORT", str(port)))
        write_password(folder / "password", PASSWORD)
        daemon = subprocess.Popen(
            [sys.executable, "-c", RUN, "run", "--site", str(folder / "fermd.toml")],
            stderr=subprocess.DEVNULL,
        )
        try:
            _measure(daemon.pid, port, asked.pages, asked.minutes * 60.0 / PACE)
        finally:
            daemon.terminate()
            daemon.wait()


def _measure(pid: int, port: int, pages: int, seconds: float) -> None:
    address = f"http://127.0.0.1:{port}"
    with httpx.Client(base_url=address, timeout=60.0) as http:
        while True:
            try:
                answer = http.post("/api/session", json={"password": PASSWORD})
                break
            except httpx.TransportError:
                time.sleep(0.2)
        cookie = f"fermd_session={answer.cookies['fermd_session']}"
        token = {"X-CSRF-Token": answer.json()["csrf"]}
        http.post(
            "/api/chambers/lager/commands",
            json={"command": "set-target", "target_c": 10.0},
            headers=token,
        )

        def look_again() -> Figures:
            return look(pid, http)

        alone = []
        for _ in range(5):
            time.sleep(2.0)
            alone.append(look_again())
        tell("no page", alone)
        few, figures = asyncio.run(open_pages(address, cookie, 5, 20.0, look_again))
        tell("5 pages", figures, few)
        many, figures = asyncio.run(open_pages(address, cookie, pages, seconds, look_again))
        tell(f"{pages} pages", figures, many)
        time.sleep(6.0)
        after = [look_again()]
        time.sleep(2.0)
        after.append(look_again())
        tell("no page again", after)


if __name__ == "__main__":
    main()
