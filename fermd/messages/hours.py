"""Quiet hours, in the site's zone.

Told by which of the two times was last: each comes once on every day, also on the two on which
clocks are changed (see fermd.config.zone_calendar), so the hours begin once and end once.
"""

from __future__ import annotations

from fermd.config.messages import MessageSettings
from fermd.config.zone_calendar import ZoneCalendar
from fermd.control.moment import Moment


def is_quiet(settings: MessageSettings, calendar: ZoneCalendar, now: Moment) -> bool:
    """Whether these are quiet hours; never while the wall clock is not known to be set.

    A message too many is better than one that waits for a morning which nobody knows.
    """
    begin, end = settings.quiet_from, settings.quiet_until
    if begin is None or end is None or not now.wall_trusted:
        return False
    began_s = calendar.last_utc_s(begin, now.wall_utc_s)
    ended_s = calendar.last_utc_s(end, now.wall_utc_s)
    return began_s is not None and (ended_s is None or began_s > ended_s)
