"""What is looked at after a life and after a round: rows, file, promises, profile."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from contextlib import closing
from pathlib import Path

from outside_reader import Rows, committed_rows, lost
from pin_record import PinRecord, Told
from soak_board import SoakBoard
from soak_figures import Figures

from fermd.config.site_file import load_site
from fermd.journal.readonly import connect_to_read
from fermd.review.invariants import violations

Span = tuple[float, float]
MustBeOff = tuple[int, float, float, str]

LATEST_TICK_S = 180.0
"""A tick may be as late as the lease lets it; beyond, the relays let go. On a machine that is busy
with other things it is: 180 s are less than half a real second here."""
LONGEST_LEFT_OVER_S = 900.0
"""Time by which a late tick overran a step goes to the next one; no tick is later than this."""
STEP_S = 2400.0
"""A step of the profile, s: six real seconds."""

PROFILE = 'name = "Soak"\n' + "".join(
    f'\n[[step]]\nkind = "hold"\ntarget_c = {target_c:.1f}\nfor = "{STEP_S / 60:.0f} min"\n'
    for target_c in (16.0, 12.0, 17.0, 11.0, 18.0, 10.0, 16.0, 9.0, 15.0, 8.0)
)


class Verdict:
    """Collects what is wrong, and counts what was looked at."""

    def __init__(self, figures: Figures) -> None:
        self.figures = figures

    def fault(self, text: str) -> None:
        self.figures.violations.append(text)

    def compare(self, board: SoakBoard, seen: Rows) -> None:
        if not board.journal.exists():
            return
        try:
            now = committed_rows(board.journal)
        except sqlite3.Error as error:
            if seen:
                self.fault(f"the journal cannot be read: {error}")
            return
        for text in lost(seen, now):
            self.fault(f"after {board.lives[-1].how}: {text}")
        self.figures.rows_checked += len(seen)

    def soundness(self, journal: Path) -> None:
        if not journal.exists():
            return
        try:
            with closing(connect_to_read(journal)) as connection:
                (verdict,) = connection.execute("PRAGMA integrity_check").fetchone()
        except sqlite3.Error as error:
            verdict = str(error)
        if verdict != "ok":
            self.fault(f"integrity check of {journal.name}: {verdict}")

    def judge(
        self,
        board: SoakBoard,
        *,
        disk_full_s: Sequence[Span] = (),
        must_be_off: Sequence[MustBeOff] = (),
    ) -> None:
        """Hold a board against the promises: by what its pins did, and by its journal alone."""
        settings = load_site(board.site_path).settings
        for broken in violations(board.journal, settings, LATEST_TICK_S):
            self.fault(f"journal: {broken}")
        record = PinRecord(
            board.edges(),
            board.lives,
            board.power_losses_s,
            _told(board, board.boots),
            disk_full_s,
            must_be_off,
        )
        self._pins(record, "")

    def judge_copy(self, board: SoakBoard, boots: Mapping[str, float], where: str) -> None:
        """Hold the start on a copy against them; the rows before are judged as a whole.

        `boots` are those of the board that the copy is of.
        """
        settings = load_site(board.site_path).settings
        first = _first_row(board)
        for broken in violations(board.journal, settings, LATEST_TICK_S):
            if broken.seq >= first:
                self.fault(f"{where}: journal: {broken}")
        since_s = board.boots[board.boot_id]
        told = [one for one in _told(board, {**boots, **board.boots}) if one.at_s >= since_s]
        record = PinRecord(board.edges(), board.lives, board.power_losses_s, told)
        self._pins(record, f"{where}: ")

    def _pins(self, record: PinRecord, where: str) -> None:
        for text in record.faults():
            self.fault(f"{where}pins: {text}")
        figures = record.figures
        self.figures.compressor_starts += figures.starts
        self.figures.pin_edges += figures.edges
        self.figures.switchings_compared += figures.told
        self.figures.shortest_off_s = min(self.figures.shortest_off_s, figures.shortest_off_s)
        self.figures.longest_decision_to_relay_s = max(
            self.figures.longest_decision_to_relay_s, figures.latest_s
        )

    def profile(self, board: SoakBoard) -> None:
        """No step is repeated, skipped or shortened, whatever ended whom."""
        with closing(connect_to_read(board.journal)) as connection:
            rows = connection.execute(
                "SELECT boot_id, mono_s, change, step_index FROM step_changes "
                "JOIN boots USING (boot) WHERE chamber = 'lager' ORDER BY seq"
            ).fetchall()
        entered: list[tuple[int, float]] = []
        left_over_s = 0.0
        for boot, mono_s, change, index in rows:
            if change != "entered":
                continue
            at_s = board.boots[boot] + mono_s
            if entered:
                before, since_s = entered[-1]
                if index != before + 1:
                    self.fault(f"profile: step {index} was entered after step {before}")
                counted_s = at_s - since_s + left_over_s
                if counted_s < STEP_S - 1.0:
                    self.fault(f"profile: step {before} lasted {counted_s:.0f} s")
                left_over_s = min(counted_s - STEP_S, LONGEST_LEFT_OVER_S)
            elif index not in (0, 1):
                self.fault(f"profile: the first step entered is {index}")
            entered.append((index, at_s))
        self.figures.profile_steps += len(entered)


def _first_row(board: SoakBoard) -> int:
    """The first row of a board's present boot."""
    with closing(connect_to_read(board.journal)) as connection:
        (first,) = connection.execute(
            "SELECT min(seq) FROM daemon_runs JOIN boots USING (boot) WHERE boot_id = ?",
            (board.boot_id,),
        ).fetchone()
    return int(first)


def _told(board: SoakBoard, boots: Mapping[str, float]) -> list[Told]:
    """The switchings in a board's journal, in true time."""
    with closing(connect_to_read(board.journal)) as connection:
        rows = connection.execute(
            "SELECT boot_id, mono_s, line, is_on FROM output_changes JOIN boots USING (boot) "
            "WHERE certainty = 'observed' ORDER BY seq"
        ).fetchall()
    return [Told(line, bool(on), boots[boot] + mono_s) for boot, mono_s, line, on in rows]
