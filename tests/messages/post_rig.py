"""The post of a site whose alarms and clocks the test sets; journal, files and programs are real.

Each recipient is a small program that writes down what it is given, or fails if it is told to.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from receivers import until

from fermd.config.messages import MessageSettings, RecipientSettings
from fermd.config.site import SiteFile
from fermd.config.site_file import parse_site
from fermd.control.alarms import Alarm, AlarmKind
from fermd.control.events import AlarmPhase, Event
from fermd.control.moment import Moment
from fermd.journal.reader import JournalReader
from fermd.journal.rows import MessageEnded
from fermd.journal.writer import SqliteJournal
from fermd.messages.keeping import Keeper, kept_path
from fermd.messages.post import Post
from fermd.messages.sending import Sending
from fermd.service.snapshot import Snapshot

ZONE = ZoneInfo("Europe/Vienna")

SITE = """\
site_name = "cellar"
time_zone = "Europe/Vienna"
pin_factory = "lgpio"
chip = "pinctrl-bcm2711"
journal_path = "journal.db"

[probe.vessel]
id = "28-000006b67845"

[chamber.lager]
vessel_probe = "vessel"
"""

PROGRAM = """#!/bin/sh
set -e
[ ! -e "$0.hangs" ] || { printf '%s\\n' "$FERMD_NUMBER" >> "$0.numbers"; exec sleep 600; }
[ ! -e "$0.fails" ] || { echo "no network" >&2; exit 1; }
printf '%s\\n' "$FERMD_NUMBER" >> "$0.numbers"
printf '%s\\n' "$FERMD_TITLE" >> "$0.titles"
printf '%s\\n' "$FERMD_TEXT" > "$0.text.$FERMD_NUMBER"
"""


def utc_s(local: str) -> float:
    """POSIX time of a local time, the first one if it comes twice."""
    return datetime.fromisoformat(local).replace(tzinfo=ZONE).timestamp()


@dataclass
class Program:
    """One recipient's."""

    path: Path

    def __post_init__(self) -> None:
        self.path.write_text(PROGRAM)
        self.path.chmod(0o700)

    def fail(self, fails: bool) -> None:
        switch = Path(f"{self.path}.fails")
        if fails:
            switch.touch()
        else:
            switch.unlink(missing_ok=True)

    def hang(self, hangs: bool) -> None:
        switch = Path(f"{self.path}.hangs")
        if hangs:
            switch.touch()
        else:
            switch.unlink(missing_ok=True)

    @property
    def titles(self) -> list[str]:
        path = Path(f"{self.path}.titles")
        return path.read_text().splitlines() if path.exists() else []

    @property
    def numbers(self) -> list[int]:
        path = Path(f"{self.path}.numbers")
        return [int(line) for line in path.read_text().split()] if path.exists() else []

    def text(self, number: int) -> str:
        return Path(f"{self.path}.text.{number}").read_text()


@dataclass
class Office:
    """A post with its site; time passes when the test says so."""

    folder: Path
    settings: MessageSettings = field(default_factory=MessageSettings)
    names: Sequence[str] = ("anna",)
    wall_utc_s: float = utc_s("2026-07-04 12:00")
    mono_s: float = 1000.0
    trusted: bool = True
    boot: str = "boot-1"
    real_now_s: float = 0.0

    def __post_init__(self) -> None:
        self.site_file: SiteFile = parse_site(SITE, self.folder / "fermd.toml")
        self.programs = {name: Program(self.folder / name) for name in self.names}
        given = dict(self.settings.to)
        to = {
            name: replace(given.get(name, RecipientSettings()), command=(str(program.path),))
            for name, program in self.programs.items()
        }
        self.settings = replace(self.settings, to=to)
        self.alarms: dict[tuple[str, str], Alarm] = {}
        self.tick = 0
        self.journal = self._journal()
        self._open()

    @property
    def anna(self) -> Program:
        return self.programs["anna"]

    # What the post looks at.

    def snapshot(self) -> Snapshot | None:
        self.tick += 1
        long_ago = Moment(0.0)
        return Snapshot(self.now(), self.tick, {}, tuple(self.alarms.values()), None, long_ago)

    def now(self) -> Moment:
        return Moment(self.mono_s, self.wall_utc_s, self.trusted)

    def boot_id(self) -> str:
        return self.boot

    @property
    def record(self) -> JournalReader:
        return JournalReader(self.journal.path)

    def written(self) -> bool:
        return self.journal.flush()

    def tell_of_message(self, recipient: str, number: int, title: str, failed: str) -> None:
        self.journal.message_ended(self.now(), MessageEnded(recipient, number, title, failed))

    # What the test does.

    def up(self, kind: AlarmKind, subject: str = "") -> None:
        self.alarms[kind.value, subject] = Alarm(
            kind, subject, AlarmPhase.RAISED, True, self.mono_s, self.mono_s, self.wall_utc_s
        )

    def down(self, kind: AlarmKind, subject: str = "") -> None:
        del self.alarms[kind.value, subject]

    def happens(self, *events: Event) -> None:
        self.journal.events(self.now(), "lager", events)
        assert self.journal.flush()

    def wait(self, seconds: float, step_s: float = 30.0) -> None:
        """Let time pass, on every clock."""
        left_s = seconds
        while left_s > 0:
            by_s = min(step_s, left_s)
            self.pass_by(by_s)
            self.look()
            left_s -= by_s

    def pass_by(self, seconds: float) -> None:
        self.mono_s += seconds
        self.wall_utc_s += seconds
        self.real_now_s += seconds

    def until_local(self, local: str, step_s: float = 300.0) -> None:
        self.wait(utc_s(local) - self.wall_utc_s, step_s)

    def look(self) -> None:
        """Look, and let what is sent come to its end."""
        self.post.look()
        until(lambda: not self.post.hear_of_ended())

    def stop(self) -> None:
        self.post.close()

    def crash(self) -> None:
        """The process is gone in the middle of what it did: nothing is written down any more."""
        self.post._sending.close()
        assert self.post._pool is not None
        self.post._pool.shutdown(wait=True)
        self.post._keeper.close()

    def restart(self, *, away_s: float = 60.0, other_boot: bool = False) -> None:
        """The next process: the post before is gone, whatever it was doing."""
        self.pass_by(away_s)
        if other_boot:
            self.boot, self.mono_s = self.boot + "+", 200.0
        self._open()

    def outcomes(self) -> list[MessageEnded]:
        assert self.journal.flush()
        rows = self.record.last_events(1000)
        return [row.happening for row in rows if isinstance(row.happening, MessageEnded)]

    def close(self) -> None:
        self.stop()
        self.journal.close(self.now(), cleanly=True)

    def _open(self) -> None:
        keeper = Keeper(kept_path(self.site_file.journal_path))
        self.post = Post(
            self,
            self.site_file,
            self.settings,
            keeper,
            Sending(self.settings),
            real_s=lambda: self.real_now_s,
        )
        self.post.open()

    def _journal(self) -> SqliteJournal:
        return SqliteJournal(
            self.site_file.journal_path, boot_id=self.boot, moment=self.now(), version="1"
        )
