"""What a soak counts."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

UNITS = {"shortest_off_s": "s", "longest_decision_to_relay_s": "s, real"}


@dataclass
class Figures:
    """Sums over rounds; the shortest and the longest of what has one."""

    kills: int = 0
    kills_by_phase: Counter[str] = field(default_factory=Counter)
    kills_with_a_relay_on: int = 0
    transactions_torn_by_kills: int = 0
    """The log had frames of a transaction that never ended."""
    starts_by_a_fresh_interpreter: int = 0
    power_cuts_on_copies: int = 0
    torn_logs: int = 0
    power_cuts_while_running: int = 0
    disk_full_episodes: Counter[str] = field(default_factory=Counter)
    clock_steps: int = 0
    second_daemons_refused: int = 0
    orderly_stops: int = 0
    watchdog_aborts: int = 0
    unexpected_exceptions: int = 0
    site_files_edited: int = 0
    probe_faults: int = 0
    compressor_starts: int = 0
    rows_checked: int = 0
    rows_of_journals: int = 0
    pin_edges: int = 0
    switchings_compared: int = 0
    profile_steps: int = 0
    shortest_off_s: float = float("inf")
    longest_decision_to_relay_s: float = 0.0
    violations: list[str] = field(default_factory=list)

    def add(self, other: Figures) -> None:
        """Take over another round's."""
        for name, theirs in vars(other).items():
            ours = getattr(self, name)
            if name.startswith("shortest"):
                setattr(self, name, min(ours, theirs))
            elif name.startswith("longest"):
                setattr(self, name, max(ours, theirs))
            else:
                setattr(self, name, ours + theirs)

    def lines(self) -> list[str]:
        """One line each, for people."""
        told = []
        for name, value in vars(self).items():
            words = name.removesuffix("_s").replace("_", " ")
            if isinstance(value, Counter):
                text = (
                    f"{value.total()} ({', '.join(f'{k} {v}' for k, v in sorted(value.items()))})"
                )
            elif isinstance(value, list):
                text = str(len(value))
            elif isinstance(value, float):
                text = f"{value:.3f} {UNITS[name]}" if value < float("inf") else "none"
            else:
                text = str(value)
            told.append(f"{words:32} {text}")
        return told

    def plain(self) -> dict[str, object]:
        """For machines."""
        return {
            name: dict(value)
            if isinstance(value, Counter)
            else (None if value == float("inf") else value)
            for name, value in vars(self).items()
        }
