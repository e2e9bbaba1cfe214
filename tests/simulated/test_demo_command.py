"""`fermd demo` as somebody meets it: at a prompt, in a pipe, on a small terminal."""

from __future__ import annotations

import codecs
import fcntl
import os
import pty
import re
import select
import signal
import sqlite3
import struct
import subprocess
import sys
import termios
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from io import StringIO
from pathlib import Path
from typing import Self
from xml.etree import ElementTree

import pytest
from demo_rig import Quiet, demo_site_at
from rich.console import Console

from fermd.cli import demo_screen
from fermd.cli.demo_batch import DemoBatch
from fermd.cli.demo_screen import TerminalScreen
from fermd.config.profile_file import find_profile, load_profile
from fermd.review.invariants import violations
from fermd.service.snapshot import Snapshot

ROOT = Path(__file__).parents[2]
BOUND_S = 120.0
"""Far longer than anything here takes, s: a test that hangs fails."""


def environment(**more: str) -> dict[str, str]:
    path = os.pathsep.join(filter(None, (str(ROOT), os.environ.get("PYTHONPATH"))))
    kept = {k: v for k, v in os.environ.items() if k not in ("NO_COLOR", "COLUMNS", "LINES")}
    return {**kept, "PYTHONPATH": path, "PYTHONIOENCODING": "utf-8", **more}


def demo(folder: Path, *arguments: str, **more: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "fermd.cli", "demo", *arguments],
        cwd=folder,
        env=environment(**more),
        capture_output=True,
        text=True,
        timeout=BOUND_S,
        check=False,
    )


# --- a whole batch -------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def crashed(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, subprocess.CompletedProcess]:
    """A cellar at 12 °C, as fast as can be, with its output in a pipe."""
    folder = tmp_path_factory.mktemp("demo")
    return folder, demo(folder, "--fast", "--profile", "cellar-hold", "--journal", "kept.db")


def test_a_batch_ends_with_nothing_to_complain_of(
    crashed: tuple[Path, subprocess.CompletedProcess],
) -> None:
    _, ended = crashed
    assert (ended.returncode, ended.stderr) == (os.EX_OK, "")


def test_what_is_piped_is_lines_for_a_log(
    crashed: tuple[Path, subprocess.CompletedProcess],
) -> None:
    _, ended = crashed
    lines = ended.stdout.splitlines()
    assert "\x1b" not in ended.stdout
    assert re.fullmatch(
        r"day  1, 17:02 +14\.\d\d °C  step 1 \(final-hold 'cellar'\) entered", lines[0]
    )
    assert lines[-3:] == [
        "journal:  kept.db",
        "picture:  kept.db.svg",
        "promises: all kept, by the journal's own rows",
    ]
    assert any(line.startswith("beer:     ") for line in lines)
    assert any(re.match(r"cooling:  \d+ starts?, ", line) for line in lines)


def test_there_is_one_file_of_the_journal_and_a_picture(
    crashed: tuple[Path, subprocess.CompletedProcess],
) -> None:
    folder, _ = crashed
    assert sorted(path.name for path in folder.iterdir()) == ["kept.db", "kept.db.svg"]
    with closing(sqlite3.connect(folder / "kept.db")) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        changes = connection.execute("SELECT change, cleanly FROM daemon_runs ORDER BY seq")
        assert changes.fetchall() == [("started", None), ("stopped", 1)]
    ElementTree.parse(folder / "kept.db.svg")  # noqa: S314 - our own file


def test_the_same_seed_gives_the_same_batch(tmp_path: Path) -> None:
    told = [
        demo(tmp_path, "--fast", "--profile", "cellar-hold", "--journal", f"{n}.db", "--seed", seed)
        for n, seed in enumerate(("7", "7"))
    ]
    assert [ended.returncode for ended in told] == [os.EX_OK] * 2
    summaries = [ended.stdout.split("journal:")[0] for ended in told]
    assert summaries[0] == summaries[1]


@pytest.mark.parametrize("ending", ["png", "pdf"])
def test_the_picture_is_of_the_kind_that_was_asked_for(tmp_path: Path, ending: str) -> None:
    asked = ("--fast", "--profile", "cellar-hold", "--journal", "kept.db")
    ended = demo(tmp_path, *asked, "--picture", f"batch.{ending}")
    assert ended.returncode == os.EX_OK
    assert (tmp_path / f"batch.{ending}").stat().st_size > 10_000


def test_a_journal_may_have_any_name(tmp_path: Path) -> None:
    name = 'my "best" \\ batch °.svg'
    ended = demo(tmp_path, "--fast", "--profile", "cellar-hold", "--journal", name)
    assert (ended.returncode, ended.stderr) == (os.EX_OK, "")
    assert (tmp_path / name).read_bytes().startswith(b"SQLite format 3\0")
    assert (tmp_path / f"{name}.svg").exists()


# --- what cannot be ------------------------------------------------------------------------------


def without_matplotlib(folder: Path) -> dict[str, str]:
    """A Python that has no matplotlib."""
    shadow = folder / "shadow"
    shadow.mkdir()
    text = "import sys\nsys.modules['matplotlib'] = None\n"
    (shadow / "sitecustomize.py").write_text(text)
    return {"PYTHONPATH": os.pathsep.join((str(shadow), str(ROOT)))}


REFUSED = [
    (("--journal", "there.db"), os.EX_CANTCREAT, "there.db: is there already"),
    (("--journal", "no/such/folder.db"), os.EX_CANTCREAT, "there is no folder"),
    (("--profile", "cold-crsh"), os.EX_NOINPUT, "cold-crash"),
    (("--profile", "broken.toml"), os.EX_CONFIG, "broken.toml"),
    (("--picture", "batch.gif"), os.EX_USAGE, "must end in one of .svg, .png, .pdf"),
    (("--picture", "no/such/batch.svg"), os.EX_CANTCREAT, "there is no folder"),
    (("--picture", "folder.svg"), os.EX_CANTCREAT, "is a folder"),
    (("--speed", "0.5"), os.EX_USAGE, "0.5 is not in the range"),
    (("--speed", "fast"), os.EX_USAGE, "not a valid float"),
]


@pytest.mark.parametrize(("arguments", "code", "why"), REFUSED, ids=lambda part: str(part)[:40])
def test_what_cannot_be_is_told_before_the_batch_runs(
    tmp_path: Path, arguments: tuple[str, str], code: int, why: str
) -> None:
    (tmp_path / "there.db").write_text("something of value")
    (tmp_path / "broken.toml").write_text("name = 'x'\nstep = 3\n")
    (tmp_path / "folder.svg").mkdir()
    before = sorted(tmp_path.iterdir())
    ended = demo(tmp_path, "--fast", *arguments)
    assert ended.returncode == code
    assert why in ended.stderr
    assert "Traceback" not in ended.stderr
    assert ended.stdout == ""
    # Nothing was begun, and nothing of value was touched.
    assert sorted(tmp_path.iterdir()) == before
    assert (tmp_path / "there.db").read_text() == "something of value"


def test_a_picture_that_was_asked_for_needs_matplotlib_before_the_batch(tmp_path: Path) -> None:
    ended = demo(tmp_path, "--fast", "--picture", "batch.svg", **without_matplotlib(tmp_path))
    assert ended.returncode == os.EX_UNAVAILABLE
    assert "pip install matplotlib" in ended.stderr
    assert not list(tmp_path.glob("*.db"))


def test_a_picture_that_nobody_asked_for_is_left_out_without_matplotlib(tmp_path: Path) -> None:
    asked = ("--fast", "--profile", "cellar-hold", "--journal", "kept.db")
    ended = demo(tmp_path, *asked, **without_matplotlib(tmp_path))
    assert ended.returncode == os.EX_OK
    assert "picture:  none (pictures need matplotlib" in ended.stdout


# --- the pace, and the end before the end --------------------------------------------------------


def began(journal: Path, within_s: float = 60.0) -> None:
    """Wait until the batch is pitched."""
    until_s = time.monotonic() + within_s
    while time.monotonic() < until_s:
        try:
            with closing(sqlite3.connect(f"file:{journal}?mode=ro", uri=True)) as connection:
                if connection.execute("SELECT count(*) FROM step_changes").fetchone()[0]:
                    return
        except sqlite3.Error:
            # Not there yet.
            pass
        select.select([], [], [], 0.02)
    raise AssertionError("the batch was not pitched")


@contextmanager
def running(folder: Path, *arguments: str) -> Iterator[subprocess.Popen[str]]:
    process = subprocess.Popen(
        [sys.executable, "-m", "fermd.cli", "demo", "--journal", "kept.db", *arguments],
        cwd=folder,
        env=environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        yield process
    finally:
        process.kill()
        process.communicate()


@pytest.mark.parametrize(
    ("number", "code"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)], ids=["Ctrl-C", "kill"]
)
def test_a_batch_that_is_ended_leaves_relays_off_and_a_clean_journal(
    tmp_path: Path, number: int, code: int
) -> None:
    with running(tmp_path, "--speed", "3600") as process:
        began(tmp_path / "kept.db")
        process.send_signal(number)
        out, err = process.communicate(timeout=BOUND_S)
    assert process.returncode == code
    assert err == "ended before the final hold, with every relay off\n"
    assert "Traceback" not in out
    assert "journal:  kept.db" in out
    with closing(sqlite3.connect(tmp_path / "kept.db")) as connection:
        last = connection.execute(
            "SELECT change, cleanly FROM daemon_runs ORDER BY seq DESC LIMIT 1"
        ).fetchone()
        left_on = connection.execute(
            "SELECT output FROM (SELECT output, is_on, max(seq) FROM output_changes "
            "GROUP BY output) WHERE is_on"
        ).fetchall()
    assert (last, left_on) == (("stopped", 1), [])
    settings = demo_site_at(tmp_path / "kept.db").settings
    assert violations(tmp_path / "kept.db", settings) == []


def test_the_speed_is_kept(tmp_path: Path) -> None:
    """At 3600 times real time the batch is pitched after 120 s / 3600 = 33 ms, an hour a second."""
    with running(tmp_path, "--speed", "3600") as process:
        began(tmp_path / "kept.db")
        at_s = time.monotonic()
        select.select([], [], [], 2.0)
        process.send_signal(signal.SIGINT)
        process.communicate(timeout=BOUND_S)
        passed_s = time.monotonic() - at_s
    with closing(sqlite3.connect(tmp_path / "kept.db")) as connection:
        (last_s,) = connection.execute("SELECT max(mono_s) FROM daemon_runs").fetchone()
    # Never faster than asked for; slower only where the machine is.
    assert 0.2 * 3600.0 < last_s <= 3600.0 * (passed_s + 1.5)


# --- the panel -----------------------------------------------------------------------------------


class Terminal:
    """A terminal of 80 by 24, as far as it is needed: it keeps the screen that is shown.

    `sheets` are the screens as they stood each time before something was wiped off: what was read
    of a terminal between two of these may be half a drawing.
    """

    columns, lines = 80, 24

    def __init__(self) -> None:
        self.screen = [[" "] * self.columns for _ in range(self.lines)]
        self.row = self.column = 0
        self.wrapped = 0
        self.sheets: list[list[str]] = []
        self._wrap_next = False
        self._is_drawing = False

    def feed(self, text: str) -> None:
        for part in re.findall(r"\x1b\[[0-9;?]*[A-Za-z]|\x1b.|.", text, re.DOTALL):
            if part.startswith("\x1b["):
                self._control(part[-1], [int(n or 0) for n in part[2:-1].strip("?").split(";")])
            elif part == "\r":
                self.column, self._wrap_next = 0, False
            elif part == "\n":
                self._down()
            elif not part.startswith("\x1b"):
                self._put(part)

    def _control(self, final: str, numbers: list[int]) -> None:
        count = max(1, numbers[0])
        if final == "A":
            self.row = max(0, self.row - count)
        elif final == "B":
            self.row = min(self.lines - 1, self.row + count)
        elif final == "K":
            if self._is_drawing:
                self.sheets.append([line for line in self.shown() if line])
                self._is_drawing = False
            first = 0 if numbers[0] == 2 else self.column
            self.screen[self.row][first:] = [" "] * (self.columns - first)
        self._wrap_next = False

    def _put(self, character: str) -> None:
        if self._wrap_next:
            self.wrapped += 1
            self.column, self._wrap_next = 0, False
            self._down()
        self._is_drawing = True
        self.screen[self.row][self.column] = character
        if self.column == self.columns - 1:
            self._wrap_next = True
        else:
            self.column += 1

    def _down(self) -> None:
        if self.row == self.lines - 1:
            self.screen.append([" "] * self.columns)
            del self.screen[0]
        else:
            self.row += 1

    def shown(self) -> list[str]:
        return ["".join(row).rstrip() for row in self.screen]


def on_terminal(
    folder: Path, arguments: tuple[str, ...], until: Callable[[Terminal], bool], **more: str
) -> tuple[int, Terminal, str]:
    """Run a demonstration on a terminal, end it by Ctrl-C once something is to be seen."""
    main, side = pty.openpty()
    fcntl.ioctl(side, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
    process = subprocess.Popen(
        [sys.executable, "-m", "fermd.cli", "demo", "--journal", "kept.db", *arguments],
        cwd=folder,
        env=environment(TERM="xterm-256color", **more),
        stdin=side,
        stdout=side,
        stderr=side,
        start_new_session=True,
        preexec_fn=lambda: fcntl.ioctl(0, termios.TIOCSCTTY, 0),
    )
    os.close(side)
    terminal, seen, asked = Terminal(), "", False
    deadline_s = time.monotonic() + BOUND_S
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        while time.monotonic() < deadline_s:
            if select.select([main], [], [], 0.1)[0]:
                try:
                    text = decoder.decode(os.read(main, 65536))
                except OSError:
                    break
                seen += text
                terminal.feed(text)
            if not asked and until(terminal):
                asked = True
                os.write(main, b"\x03")
        code = process.wait(timeout=10.0)
        # What is typed at the next prompt is seen again.
        assert termios.tcgetattr(main)[3] & termios.ECHO
        return code, terminal, seen
    finally:
        process.kill()
        process.wait()
        os.close(main)


def has(*words: str) -> Callable[[Terminal], bool]:
    return lambda terminal: all(word in "\n".join(terminal.shown()) for word in words)


def test_on_a_small_terminal_the_panel_is_one_panel(tmp_path: Path) -> None:
    """Everything a look wants to know, nothing wrapped, nothing left over from drawing anew."""

    def cools(terminal: Terminal) -> bool:
        shown = terminal.sheets[-1] if terminal.sheets else []
        return len(terminal.sheets) > 40 and any("cooling   on" in line for line in shown)

    code, terminal, _ = on_terminal(tmp_path, ("--profile", "cold-crash", "--speed", "3600"), cools)
    assert code == 130
    assert terminal.wrapped == 0
    panels = [sheet for sheet in terminal.sheets if sheet and sheet[-1].startswith("╰")]
    assert len(panels) > 30
    for panel in panels:
        assert panel[0].startswith("╭─ lager, day  1, ")
        assert sum(line.startswith("╭") for line in panel) == 1
        assert all(len(line) == 80 for line in panel)
        assert all(line[0] == line[-1] == "│" for line in panel[1:-1])
        # A long reason takes a second line, without a name.
        names = [name for line in panel[1:9] if (name := line[2:12].strip())]
        assert names[:5] == ["beer", "air", "target", "cooling", "heating"]
    last = terminal.shown()
    assert sum(line.startswith("╭") for line in last) == 1
    assert any(line.startswith("chamber lager: ") for line in last)
    assert "ended before the final hold, with every relay off" in last


class UntilAlarm(TerminalScreen):
    """Draws on paper 80 columns wide, and keeps the last sheet with an alarm on it."""

    def __init__(self) -> None:
        super().__init__()
        self.sheet = ""

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        return None

    def show(self, snapshot: Snapshot, chamber: str, total_s: float) -> None:
        super().show(snapshot, chamber, total_s)
        decision = snapshot.chambers[chamber].decision
        if decision.alarms:
            paper = Console(file=StringIO(), width=80, color_system=None)
            paper.print(self._panel(snapshot, decision, total_s))
            self.sheet = paper.file.getvalue()  # type: ignore[attr-defined]


def test_the_panel_tells_an_alarm_in_full_and_what_happened_in_a_line_each(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(demo_screen, "REFRESH_EVERY_S", 1e9)
    screen = UntilAlarm()
    profile = load_profile(find_profile("cold-crash"))
    DemoBatch(demo_site_at(tmp_path / "kept.db"), profile, None, 1, screen).run()
    lines = screen.sheet.splitlines()
    assert len(lines) <= 23
    assert all(len(line) == 80 for line in lines)
    alarm = " ".join(screen.sheet.split("alarm     ")[1].replace("│", " ").split())
    assert alarm.startswith(
        "critical: the vessel probe cannot be trusted; outputs are in fail-safe: vessel, for "
    )
    told = lines[-5:-1]
    assert all(re.fullmatch(r"│ day  \d, \d\d:\d\d  \S.+ │", line) for line in told)
    cut = [line for line in told if "alarm raised: the vessel probe" in line]
    assert cut != []
    assert cut[0].endswith("… │")


def test_colours_are_not_for_those_who_do_not_want_them(tmp_path: Path) -> None:
    _, _, plain = on_terminal(
        tmp_path, ("--profile", "cold-crash", "--speed", "3600"), has("cooling"), NO_COLOR="1"
    )
    assert re.search(r"\x1b\[[0-9;]*[34][0-9]m", plain) is None


def test_a_profile_that_asks_for_what_no_beer_can_bear_is_refused_and_told(tmp_path: Path) -> None:
    (tmp_path / "ice.toml").write_text(
        'name = "Ice"\n[[step]]\nkind = "final-hold"\ntarget_c = -9\n'
    )
    ended = demo(tmp_path, "--fast", "--profile", "ice.toml", "--journal", "kept.db")
    assert ended.returncode == os.EX_CONFIG
    assert ended.stderr.startswith("fermd: ice.toml: the chamber refuses it: ")
    assert "-9 °C" in ended.stderr
    assert ended.stdout == ""


def test_a_step_that_waits_for_a_person_is_confirmed_by_the_brewer_of_the_demonstration(
    tmp_path: Path,
) -> None:
    text = (
        'name = "Wait"\n'
        '[[step]]\nkind = "wait"\ntarget_c = 14\nprompt = "Add the hops, then confirm."\n'
        '[[step]]\nkind = "final-hold"\ntarget_c = 14\n'
    )
    (tmp_path / "wait.toml").write_text(text)
    batch = DemoBatch(
        demo_site_at(tmp_path / "kept.db"),
        load_profile(find_profile(str(tmp_path / "wait.toml"))),
        None,
        1,
        Quiet(),
    )
    batch.run()
    assert batch.finished
