"""What happens that is no alarm and yet worth a message, from the rows of the journal."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from fermd.control.events import (
    CommandAnswered,
    GapSeen,
    OutageSeen,
    ProfileChange,
    ProfileChanged,
    Severity,
    StepChange,
    StepChanged,
)
from fermd.control.wording import Unit
from fermd.journal.reader import EventRow
from fermd.journal.rows import Happening
from fermd.messages.item import About, Instant, Item
from fermd.messages.urgency import Urgency
from fermd.review.telling import words

TABLES: Final = ("profile_changes", "step_changes", "command_answers", "outages", "gaps")
"""Where such rows are."""

WORTH_TELLING_S: Final = 120.0
"""A shorter time without anybody in charge (a restart, an upgrade) is in the journal only, s."""

PLANNED: Final = "planned start of "
"""How the core names the start of a profile that was planned (control/profile_orders.py)."""

Advice = tuple[Severity, Urgency, str]


def news_of(rows: Sequence[EventRow], boot: str, boot_number: int, unit: Unit) -> list[Item]:
    """Return what of these rows is worth telling.

    `boot` is the present boot, which the journal counts as `boot_number`.
    """
    found = []
    for row in rows:
        advice = _advice(row.happening)
        if advice is None:
            continue
        severity, urgency, to_do = advice
        at = row.moment
        since = Instant(
            at.mono_s,
            boot if row.boot == boot_number else "",
            at.wall_utc_s,
            at.wall_trusted or row.wall_mended,
        )
        found.append(
            Item(
                About.NEWS,
                row.chamber,
                "",
                "",
                severity,
                urgency,
                since,
                words=words(row.happening, at.mono_s, unit),
                to_do=to_do,
                held=urgency is Urgency.DIGEST,
            )
        )
    return found


def _advice(happened: Happening) -> Advice | None:
    match happened:
        case ProfileChanged(change=ProfileChange.FINISHED):
            return Severity.NOTICE, Urgency.BY_DAY, "The last target is held. Taste it, and decide."
        case StepChanged(change=StepChange.OVERDUE):
            to_do = "It goes on by itself. See whether the batch's dates still suit you."
            return Severity.WARNING, Urgency.BY_DAY, to_do
        case CommandAnswered(taken=False) if happened.command.startswith(PLANNED):
            to_do = "The profile was not started. Put right what is said above, and start it again."
            return Severity.WARNING, Urgency.BY_DAY, to_do
        case OutageSeen() if happened.lasted_s is None or happened.lasted_s >= WORTH_TELLING_S:
            to_do = "See whether the beer has drifted too far for this step."
            return Severity.WARNING, Urgency.BY_DAY, to_do
        case GapSeen() if happened.lasted_s >= WORTH_TELLING_S:
            return Severity.NOTICE, Urgency.DIGEST, ""
    return None
