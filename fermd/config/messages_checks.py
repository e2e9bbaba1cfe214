"""What can be wrong with the table [messages] whose every key is fine by itself."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any, Final

from fermd.config.errors import ABSENT, any_of
from fermd.config.mending import Checked
from fermd.config.messages import MOST_RECIPIENTS
from fermd.config.names import NAME, NAME_WORDS
from fermd.config.wording import nearest
from fermd.control.calendar import CalendarTime

_NO_PATH_WORDS: Final = (
    'must begin with the whole path of a program, such as ["/usr/local/bin/ring", "--loud"]: no '
    "shell looks for it"
)


def check_messages(site: Checked, table: Any, chambers: Collection[str]) -> None:
    """Add what is wrong with the table to the site's faults; `chambers` are those of the site."""
    _check_quiet_hours(site, table)
    if table.digest_at is not None and table.digest_at.date is not None:
        why = 'must be a time that comes again, such as "18:00" or "fri 18:00"'
        site.object_to(["messages", "digest_at"], str(table.digest_at), why)
    if table.longest_repeat_s < table.repeat_s and _sound(site, "longest_repeat_s", "repeat_s"):
        why = f"must be at least repeat_s, which is {table.repeat_s:g} s"
        given = table.longest_repeat_s
        said = "longest_repeat_s" in table.model_fields_set
        key = "longest_repeat_s" if said else "repeat_s"
        if not said:
            given, why = table.repeat_s, f"must be at most longest_repeat_s, {given:g} s"
        site.object_to(["messages", key], given, why)
    _check_recipients(site, table, chambers)


def _check_quiet_hours(site: Checked, table: Any) -> None:
    begin, end = table.quiet_from, table.quiet_until
    if not _sound(site, "quiet_from", "quiet_until"):
        return
    if (begin is None) != (end is None):
        key, other = (
            ("quiet_from", "quiet_until") if begin is None else ("quiet_until", "quiet_from")
        )
        why = f"is missing; {other} is of no use without it"
        site.object_to(["messages", key], ABSENT, why)
        return
    for key, rule in (("quiet_from", begin), ("quiet_until", end)):
        if rule is not None and rule != CalendarTime(rule.hour, rule.minute):
            why = 'must be a time of every day, such as "22:00"'
            site.object_to(["messages", key], str(rule), why)
    if begin is not None and begin == end:
        why = 'is also quiet_from; the quiet hours must end at another time, such as "07:00"'
        site.object_to(["messages", "quiet_until"], str(end), why)


def _check_recipients(site: Checked, table: Any, chambers: Collection[str]) -> None:
    recipients: Mapping[str, Any] = table.to
    if not recipients and table.heartbeat is None and site.is_sound("messages"):
        why = "is missing; add a recipient, [messages.to.NAME], or [messages.heartbeat]"
        site.object_to(["messages", "to"], ABSENT, why)
    if len(recipients) > MOST_RECIPIENTS:
        why = f"{len(recipients)} recipients; at most {MOST_RECIPIENTS} are served"
        site.object_to(["messages", "to"], ABSENT, why)
    seen: dict[str, str] = {}
    for name, one in recipients.items():
        where = ["messages", "to", name]
        if not NAME.fullmatch(name):
            site.object_to(where, ABSENT, NAME_WORDS)
        earlier = seen.setdefault(name.casefold(), name)
        if earlier != name:
            why = f"is the same name as messages.to.{earlier}; give one of them another"
            site.object_to(where, ABSENT, why)
        _check_command(site, [*where, "command"], one)
        if one.command and one.address is not None:
            why = "is of no use beside command; take one of the two out"
            site.object_to([*where, "address"], one.address, why)
        for chamber in one.chambers:
            if chamber not in chambers and site.is_sound(*where, "chambers"):
                meant = nearest(chamber, list(chambers))
                hint = f"did you mean {any_of([meant])}?" if meant else "name one of the site's"
                why = f"there is no chamber {any_of([chamber])}; {hint}"
                site.object_to([*where, "chambers"], one.chambers, why)


def _check_command(site: Checked, where: list[str], one: Any) -> None:
    given = "command" in one.model_fields_set and site.is_sound(*where)
    if not given:
        return
    if not one.command or not one.command[0].startswith("/"):
        site.object_to(where, one.command, _NO_PATH_WORDS)
    elif any("\0" in part for part in one.command):
        site.object_to(where, one.command, "must not have a zero byte in it")


def _sound(site: Checked, *keys: str) -> bool:
    return all(site.is_sound("messages", key) for key in keys)
