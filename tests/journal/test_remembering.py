"""When what a restart must know is written although nothing happened."""

from __future__ import annotations

from journal_bench import at, rows

from fermd.control.moment import Moment
from fermd.journal.ports import ChamberRecord, ReadingRow
from fermd.journal.remembering import Remembering

IDLE = [ChamberRecord("lager", '{"mode":"off"}')]


def written_at(remembering: Remembering, until_s: float, reads_until_s: float) -> list[float]:
    """When the unchanged state of an idle chamber is written, read once a minute."""
    found = []
    for second in range(0, int(until_s) + 1, 60):
        now = Moment(float(second))
        if second <= reads_until_s:
            remembering.read_mono_s = now.mono_s
        if remembering.take(now, [], IDLE) is not None:
            found.append(now.mono_s)
    return found


def test_an_idle_chamber_that_is_read_costs_nothing_but_its_readings() -> None:
    assert written_at(Remembering(600.0), 7200.0, reads_until_s=7200.0) == [0.0]


def test_while_nothing_is_read_somebody_is_seen_to_be_in_charge_every_ten_minutes() -> None:
    assert written_at(Remembering(600.0), 3600.0, reads_until_s=1500.0) == [
        *(0.0, 2100.0, 2700.0, 3300.0)
    ]


def test_an_outage_after_hours_of_a_silent_probe_is_told_from_its_beginning(begin, path):
    first = begin(boot_id="one")
    first.readings([ReadingRow(at(0), "lager", "vessel", 12.0, None)])
    for second in range(0, 7201, 60):
        first.remember(at(second), [], IDLE)
        assert first.flush()
    assert rows(path, "SELECT mono_s FROM chamber_records") == [(7200.0,)]
    assert begin(boot_id="two", moment=at(9000)).outage().last.mono_s == 7200.0
