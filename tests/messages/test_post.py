"""From alarms and news to messages: quiet hours, digest, no network, restarts, order, secrets kept.

The hours of the two odd days are those of Directive 2000/84/EC: in the Union clocks are changed at
01:00 UTC on the last Sundays of March and October. How often what may be told is common practice
without a source.
"""

from __future__ import annotations

import logging
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from post_rig import Office, utc_s
from receivers import until

from fermd.config.messages import MessageSettings, RecipientSettings
from fermd.control.alarms import AlarmKind
from fermd.control.calendar import CalendarTime
from fermd.control.events import (
    CommandAnswered,
    OutageSeen,
    ProfileChange,
    ProfileChanged,
    Severity,
    StepChange,
    StepChanged,
)
from fermd.messages import keeping
from fermd.messages.keeping import kept_path, read_kept
from fermd.messages.trying import LONGEST_RETRY_S, retry_s

LOST = AlarmKind.LEASE_EXPIRED
"""Of the board's own alarms one that is critical, ..."""
JOURNAL = AlarmKind.JOURNAL_NOT_WRITING
"""... one that is a warning ..."""
CLOCK = AlarmKind.CLOCK_STEPPED
"""... and one that is a notice."""

QUIET = MessageSettings(quiet_from=CalendarTime(22, 0), quiet_until=CalendarTime(7, 0))

Open = Callable[..., Office]


@pytest.fixture
def office(tmp_path: Path) -> Iterator[Open]:
    opened: list[Office] = []

    def open_one(settings: MessageSettings | None = None, **more: object) -> Office:
        one = Office(tmp_path, settings or MessageSettings(), **more)  # type: ignore[arg-type]
        opened.append(one)
        return one

    yield open_one
    for one in opened:
        one.close()


def utc(wall_utc_s: float) -> str:
    return datetime.fromtimestamp(wall_utc_s, UTC).strftime("%H:%M")


def when_told(one: Office, until_local: str) -> str:
    """Let time pass by minutes until somebody is told; the time in UTC."""
    before = len(one.anna.titles)
    end_s = utc_s(until_local)
    while one.wall_utc_s < end_s and len(one.anna.titles) == before:
        one.wait(60.0, step_s=60.0)
    return utc(one.wall_utc_s) if len(one.anna.titles) > before else "never"


class TestQuietHours:
    def test_what_spoils_no_batch_waits_for_the_morning(self, office: Open) -> None:
        one = office(QUIET, wall_utc_s=utc_s("2026-07-04 23:00"))
        one.up(JOURNAL)
        assert when_told(one, "2026-07-05 12:00") == "05:00"  # 07:00 in summer
        assert "the journal cannot be written" in one.anna.titles[0]

    def test_what_can_spoil_a_batch_rings_at_night_and_so_does_the_peace(
        self, office: Open
    ) -> None:
        one = office(QUIET, wall_utc_s=utc_s("2026-07-05 02:00"))
        one.up(LOST, "gpio:chip:17")
        one.wait(120)
        assert len(one.anna.titles) == 1
        one.down(LOST, "gpio:chip:17")
        one.wait(120)
        assert "all right again" in one.anna.titles[1]

    def test_what_came_and_went_at_night_is_told_in_the_morning_as_over(self, office: Open) -> None:
        one = office(QUIET, wall_utc_s=utc_s("2026-07-05 02:00"))
        one.up(JOURNAL)
        one.wait(1800)
        one.down(JOURNAL)
        one.until_local("2026-07-05 08:00")
        assert len(one.anna.titles) == 1
        assert "over by now: board: the journal cannot be written" in one.anna.titles[0]

    @pytest.mark.parametrize(
        ("evening", "morning", "at_utc"),
        [
            # Clocks go from 02:00 to 03:00: seven in the morning is one hour of UTC earlier.
            ("2026-03-28 23:30", "2026-03-29 12:00", "05:00"),
            # Clocks go from 03:00 back to 02:00.
            ("2026-10-24 23:30", "2026-10-25 12:00", "06:00"),
        ],
    )
    def test_the_night_has_its_own_length_when_clocks_are_changed(
        self, office: Open, evening: str, morning: str, at_utc: str
    ) -> None:
        one = office(QUIET, wall_utc_s=utc_s(evening))
        one.up(JOURNAL)
        assert when_told(one, morning) == at_utc

    @pytest.mark.parametrize(
        ("settings", "evening", "at_utc"),
        [
            # 02:30 does not exist: the hours end with the change.
            ((22, 0, 2, 30), "2026-03-28 23:30", "01:00"),
            # 02:30 comes twice: they end at the first one (00:30 UTC) and do not begin again.
            ((22, 0, 2, 30), "2026-10-24 23:30", "00:30"),
        ],
    )
    def test_an_end_that_is_left_out_or_comes_twice_is_still_one_end(
        self, office: Open, settings: tuple[int, ...], evening: str, at_utc: str
    ) -> None:
        begin, end = CalendarTime(*settings[:2]), CalendarTime(*settings[2:])
        one = office(MessageSettings(quiet_from=begin, quiet_until=end), wall_utc_s=utc_s(evening))
        one.up(JOURNAL)
        assert when_told(one, "2026-12-31 12:00") == at_utc
        # And in the hour that comes again it is no quiet hour a second time.
        one.up(AlarmKind.JOURNAL_SET_ASIDE)
        began_s = one.wall_utc_s
        when_told(one, "2026-12-31 12:00")
        assert one.wall_utc_s - began_s <= 180.0
        assert len(one.anna.titles) == 2

    def test_while_the_clock_is_not_set_there_are_no_quiet_hours(self, office: Open) -> None:
        one = office(QUIET, wall_utc_s=utc_s("2026-07-05 02:00"), trusted=False)
        one.up(JOURNAL)
        one.wait(120)
        assert len(one.anna.titles) == 1

    def test_who_keeps_no_quiet_hours_is_told_at_night(self, office: Open) -> None:
        settings = replace(QUIET, to={"anna": RecipientSettings(quiet=False)})
        one = office(settings, wall_utc_s=utc_s("2026-07-05 02:00"))
        one.up(JOURNAL)
        one.wait(120)
        assert len(one.anna.titles) == 1


class TestDigest:
    def test_small_things_come_together_at_their_hour(self, office: Open) -> None:
        one = office(MessageSettings(digest_at=CalendarTime(18, 0)))
        for number in range(3):
            one.up(CLOCK, f"{number}")
            one.wait(1800)
            one.down(CLOCK, f"{number}")
            one.wait(1800)
        assert one.anna.titles == []
        one.until_local("2026-07-04 18:30")
        assert len(one.anna.titles) == 1
        assert "3 alarms" in one.anna.titles[0]
        one.until_local("2026-07-06 12:00")
        assert len(one.anna.titles) == 1

    def test_a_digest_that_fell_due_while_nobody_was_there_comes_at_the_start(
        self, office: Open
    ) -> None:
        one = office(MessageSettings(digest_at=CalendarTime(18, 0)))
        one.up(CLOCK)
        one.wait(300)
        one.stop()
        one.restart(away_s=10 * 3600.0, other_boot=True)
        one.wait(60)
        assert len(one.anna.titles) == 1

    def test_without_a_clock_small_things_wait_a_day_and_no_longer(self, office: Open) -> None:
        one = office(trusted=False)
        one.up(AlarmKind.CLOCK_NOT_SET)
        one.wait(24 * 3600, step_s=600.0)
        assert one.anna.titles == []
        one.wait(3 * 3600, step_s=600.0)
        assert len(one.anna.titles) == 1

    @pytest.mark.parametrize("by_s", [-3600.0, 3600.0])
    def test_a_clock_that_is_stepped_over_the_hour_sends_it_once(
        self, office: Open, by_s: float
    ) -> None:
        one = office(
            MessageSettings(digest_at=CalendarTime(18, 0)), wall_utc_s=utc_s("2026-07-04 17:00")
        )
        one.up(CLOCK)
        one.until_local("2026-07-04 17:45")
        one.wall_utc_s += by_s
        one.wait(6 * 3600, step_s=300.0)
        assert len(one.anna.titles) == 1


class TestWithoutANetwork:
    def test_after_an_hour_one_message_says_how_things_stand(self, office: Open) -> None:
        one = office()
        one.anna.fail(True)
        one.up(LOST, "gpio:chip:17")
        one.wait(600)
        one.up(JOURNAL)
        one.wait(600)
        one.down(LOST, "gpio:chip:17")
        one.wait(2400)
        assert one.anna.titles == []
        one.anna.fail(False)
        one.wait(LONGEST_RETRY_S + 60)
        assert len(one.anna.titles) == 1
        text = one.anna.text(one.anna.numbers[0])
        assert "before you could be told" in text
        assert "the journal cannot be written" in text
        assert text.count("gpio:chip:17") == 1
        assert one.anna.titles[0] == "cellar: warning: 1 alarm, 1 over (board)"

    def test_what_fails_is_in_the_record_once_for_each_reason(self, office: Open) -> None:
        one = office()
        one.anna.fail(True)
        one.up(LOST)
        one.wait(7200)
        assert [(ended.recipient, ended.failed) for ended in one.outcomes()] == [
            ("anna", f"{one.anna.path} ended with 1: no network")
        ]
        one.anna.fail(False)
        one.wait(LONGEST_RETRY_S + 60)
        assert [bool(ended.failed) for ended in one.outcomes()] == [True, False]

    def test_tries_come_ever_more_rarely_and_never_end(self) -> None:
        for failures, longest_s in ((0, 10.0), (1, 20.0), (3, 80.0), (50, 900.0), (5000, 900.0)):
            waits = [retry_s(failures) for _ in range(200)]
            assert longest_s / 2 <= min(waits) < max(waits) <= longest_s
            # By chance: the boards of a cellar do not come all at once when its network is back.
            assert len(set(waits)) > 100

    def test_one_who_cannot_be_reached_holds_up_nobody_else(self, office: Open) -> None:
        one = office(names=("anna", "bert"))
        one.anna.fail(True)
        one.up(LOST)
        one.wait(300)
        assert len(one.programs["bert"].titles) == 1

    def test_what_waits_has_an_end(self, office: Open) -> None:
        one = office()
        one.anna.fail(True)
        for number in range(300):
            one.up(LOST, f"line {number}")
            one.wait(30)
        kept = read_kept(kept_path(one.site_file.journal_path))
        box = kept.boxes["anna"]
        assert len(box.waiting) <= 100
        assert kept_path(one.site_file.journal_path).stat().st_size < 500_000
        one.anna.fail(False)
        one.wait(LONGEST_RETRY_S + 60)
        assert "more; `fermd log` has all of it" in one.anna.text(one.anna.numbers[0])


class TestRestarts:
    def test_what_waits_survives_a_restart(self, office: Open) -> None:
        one = office()
        one.anna.fail(True)
        one.up(LOST)
        one.wait(120)
        one.stop()
        one.anna.fail(False)
        one.restart(other_boot=True)
        one.wait(60)
        assert len(one.anna.titles) == 1

    def test_nothing_is_told_twice_after_one(self, office: Open) -> None:
        one = office()
        one.up(LOST)
        one.up(JOURNAL)
        one.wait(120)
        for _ in range(5):
            one.stop()
            one.restart()
            one.wait(30)
        assert len(one.anna.titles) == 1

    @pytest.mark.parametrize(("away_s", "number"), [(60.0, 1), (3600.0, 2)])
    def test_what_may_have_arrived_is_sent_again_as_it_was_unless_it_is_old(
        self, office: Open, away_s: float, number: int
    ) -> None:
        one = office()
        one.anna.hang(True)
        one.up(LOST)
        one.pass_by(30)
        one.post.look()
        one.pass_by(60)
        one.post.look()
        until(lambda: one.anna.numbers == [1])
        one.crash()
        one.anna.hang(False)
        one.restart(away_s=away_s)
        one.wait(30)
        assert one.anna.numbers == [1, number]
        assert len(one.anna.titles) == 1
        one.wait(300)
        assert len(one.anna.titles) == 1

    def test_a_kind_of_alarm_that_this_version_does_not_know_is_set_aside_with_its_file(
        self, office: Open
    ) -> None:
        one = office()
        one.anna.fail(True)
        one.up(LOST)
        one.wait(120)
        one.stop()
        path = kept_path(one.site_file.journal_path)
        with closing(sqlite3.connect(path)) as connection, connection:
            connection.execute("UPDATE kept SET json = replace(json, 'lease-expired', 'moon-full')")
        one.anna.fail(False)
        one.restart()
        one.wait(120)
        assert len(one.anna.titles) == 1

    def test_a_file_that_cannot_be_read_is_kept_aside_and_messages_go_on(
        self, office: Open, caplog: pytest.LogCaptureFixture
    ) -> None:
        one = office()
        one.stop()
        path = kept_path(one.site_file.journal_path)
        path.write_bytes(b"no database at all" * 100)
        one.restart()
        assert path.with_name(path.name + ".unreadable").exists()
        assert "is kept as journal-messages.db.unreadable" in caplog.text
        one.up(LOST)
        one.wait(120)
        assert len(one.anna.titles) == 1

    def test_a_disk_that_cannot_be_written_stops_no_message(
        self, office: Open, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
    ) -> None:
        one = office()

        def full(*_: object, **__: object) -> None:
            raise sqlite3.OperationalError("database or disk is full")

        assert one.post._keeper._db is not None
        with monkeypatch.context() as patched:
            patched.setattr(one.post._keeper, "_db", None)
            patched.setattr(keeping.sqlite3, "connect", full)
            one.up(LOST)
            one.wait(300)
            assert len(one.anna.titles) == 1
            assert caplog.text.count("cannot be written") == 1
        one.up(JOURNAL)
        one.wait(120)
        assert read_kept(kept_path(one.site_file.journal_path)).number == 2

    def test_only_its_owner_may_read_what_waits(self, office: Open) -> None:
        one = office()
        one.up(LOST)
        one.wait(120)
        assert kept_path(one.site_file.journal_path).stat().st_mode & 0o077 == 0


class TestNews:
    def test_a_finished_profile_is_told(self, office: Open) -> None:
        one = office()
        one.wait(60)
        one.happens(ProfileChanged("Lager", ProfileChange.FINISHED))
        one.wait(120)
        assert one.anna.titles == ["cellar: lager: profile Lager finished"]
        assert "since" not in one.anna.text(1).splitlines()[1]

    def test_an_outage_is_told_with_how_far_the_beer_drifted(self, office: Open) -> None:
        one = office()
        one.wait(60)
        one.happens(OutageSeen(7200.0, False, 10.0, 13.5))
        one.wait(120)
        assert one.anna.titles == [
            "cellar: warning: lager: fermd was not running for 2 h; the beer went from 10.0 °C to "
            "13.5 °C (3.5 °C)"
        ]

    def test_temperatures_are_in_the_scale_of_the_site(self, office: Open) -> None:
        one = office(MessageSettings(units="F"))
        one.wait(60)
        one.happens(OutageSeen(7200.0, False, 10.0, 15.0))
        one.wait(120)
        assert "from 50.0 °F to 59.0 °F" in one.anna.titles[0]

    def test_a_short_outage_is_in_the_record_only(self, office: Open) -> None:
        one = office()
        one.wait(60)
        one.happens(OutageSeen(30.0, True, 10.0, 10.0))
        one.wait(300)
        assert one.anna.titles == []

    def test_a_planned_start_that_came_late_or_was_refused_is_told(self, office: Open) -> None:
        one = office()
        one.wait(60)
        one.happens(
            StepChanged("Lager", 0, "hold", "", StepChange.OVERDUE, 5400.0, "anna"),
            CommandAnswered("planned start of Ale", "anna", False, "step 2: 1 °C is below -1 °C"),
            # Somebody was there when this one was refused.
            CommandAnswered("start profile Ale", "anna", False, "no"),
        )
        one.wait(120)
        assert len(one.anna.titles) == 1
        text = one.anna.text(1)
        assert "step 1 (hold) overdue by 1 h 30 min" in text
        assert "planned start of Ale, asked by anna and refused: step 2" in text
        assert "start profile Ale" not in text.replace("planned start of Ale", "")

    def test_what_happened_before_there_were_messages_is_no_news(self, office: Open) -> None:
        one = office()
        one.stop()
        path = kept_path(one.site_file.journal_path)
        path.unlink()
        one.happens(ProfileChanged("Lager", ProfileChange.FINISHED))
        one.restart()
        one.wait(300)
        assert one.anna.titles == []

    def test_what_happened_while_a_process_was_killed_is_told_by_the_next(
        self, office: Open
    ) -> None:
        one = office()
        one.wait(60)
        one.stop()
        one.happens(ProfileChanged("Lager", ProfileChange.FINISHED))
        one.restart()
        one.wait(120)
        assert len(one.anna.titles) == 1

    def test_a_journal_that_cannot_be_read_leaves_the_alarms(
        self, office: Open, caplog: pytest.LogCaptureFixture
    ) -> None:
        one = office()
        one.wait(60)
        with closing(sqlite3.connect(one.journal.path)) as connection:
            connection.execute("PRAGMA user_version = 99")
        one.up(LOST)
        one.wait(300)
        assert len(one.anna.titles) == 1
        assert caplog.text.count("only alarms are told of for now") == 1
        with closing(sqlite3.connect(one.journal.path)) as connection:
            from fermd.journal.schema import KNOWN_VERSION

            connection.execute(f"PRAGMA user_version = {KNOWN_VERSION}")


class TestWhom:
    def test_each_is_told_from_the_severity_on_that_it_wants(self, office: Open) -> None:
        settings = MessageSettings(to={"bert": RecipientSettings(least=Severity.CRITICAL)})
        one = office(settings, names=("anna", "bert"))
        one.up(JOURNAL)
        one.wait(120)
        assert (len(one.anna.titles), len(one.programs["bert"].titles)) == (1, 0)
        one.up(LOST)
        one.wait(120)
        one.down(JOURNAL)
        one.down(LOST)
        one.wait(120)
        bert = one.programs["bert"].titles
        assert len(bert) == 2
        assert not any("journal" in title for title in bert)

    def test_messages_come_in_their_order_and_numbers_only_go_up(self, office: Open) -> None:
        one = office(names=("anna", "bert"))
        for number in range(3):
            one.up(LOST, f"line {number}")
            one.wait(120)
        for program in one.programs.values():
            assert program.numbers == sorted(set(program.numbers))
            lines = [title.rpartition(" ")[2] for title in program.titles]
            assert lines == [str(number) for number in range(3)]

    def test_what_somebody_removed_from_the_site_file_waits_no_longer(self, office: Open) -> None:
        one = office(names=("anna", "bert"))
        one.programs["bert"].fail(True)
        one.up(LOST)
        one.wait(120)
        one.stop()
        one.settings = replace(one.settings, to={"anna": one.settings.to["anna"]})
        one.restart()
        one.wait(60)
        one.stop()
        assert set(read_kept(kept_path(one.site_file.journal_path)).boxes) == {"anna"}
        one.restart()


def test_the_log_says_once_that_somebody_cannot_be_reached_and_once_that_he_can_again(
    office: Open, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO)
    one = office()
    one.anna.fail(True)
    one.up(LOST)
    one.wait(7200)
    one.anna.fail(False)
    one.wait(1800)
    said = [r.getMessage() for r in caplog.records if r.name == "fermd.messages.post"]
    assert len(said) == 2
    assert "anna cannot be reached" in said[0]
    assert said[1] == "messages: anna can be reached again"
