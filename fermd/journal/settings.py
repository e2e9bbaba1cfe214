"""The numbers that the journal works by, each with its reason."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Annotated

from annotated_types import Ge, Gt, Le

from fermd.config.keeping import ThinningSettings


@dataclass(frozen=True, slots=True)
class JournalSettings:
    """How the journal writes."""

    batch_s: Annotated[float, Ge(0), Le(3600)] = 600.0
    """Readings are written when they have waited this long, s, and with whatever else is. So much
    of the curve, and nothing else, is lost with the power."""

    most_rows_in_memory: Annotated[int, Ge(100)] = 20_000
    """So many rows wait while the journal cannot be written: over a day of two probes at 10 s, in
    under 10 MB."""

    remember_every_s: Annotated[float, Ge(0), Le(3600)] = 600.0
    """A chamber's state is written this often when nothing happens, s (see remembering.py)."""

    linger_s: Annotated[float, Ge(0), Le(1)] = 0.05
    """After something has happened, wait this long for what belongs to it (the other chambers'
    tick, the state to remember), s: one commit instead of two or three."""

    busy_s: Annotated[float, Gt(0), Le(10)] = 2.0
    """How long another program's lock is waited for at a time, s."""

    first_retry_s: Annotated[float, Gt(0)] = 1.0
    """When a write has failed it is tried again after this long, then twice that, and so on, s."""

    longest_retry_s: Annotated[float, Gt(0)] = 60.0
    """Never longer than this between two tries, s."""

    tell_set_aside_s: Annotated[float, Gt(0)] = 900.0
    """A journal that was set aside counts as trouble for this long, s: enough for a latched
    alarm to take it up."""

    close_within_s: Annotated[float, Gt(0), Le(60)] = 10.0
    """Closing waits no longer than this for a disk that does not answer, s: below the service
    manager's patience."""

    thinning: ThinningSettings = field(default_factory=ThinningSettings)
