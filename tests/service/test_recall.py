"""What a new process goes on from: the truth where it is proven, else the worst that could be."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from loop_rig import FRIDGE, MINIMUM_OFF_S, SITE, site_file

from fermd.config.site import SiteFile
from fermd.config.site_file import parse_site
from fermd.control.alarms import AlarmKind, Condition, observe
from fermd.control.decision import Mode
from fermd.control.events import AlarmPhase
from fermd.control.moment import Moment
from fermd.control.progress import begin
from fermd.control.protection import History, unknown_history
from fermd.control.settings import Duty
from fermd.control.state import ChamberState
from fermd.control.steps import Hold, Profile, Target
from fermd.journal.ports import ChamberRecord, Outage
from fermd.service import recall

PLACE = site_file(Path("/nowhere"))
SETTINGS = PLACE.settings
PROTECTION = SETTINGS.chambers[0].by_duty[Duty.COOL].protection
NOW = Moment(50_000.0, 1_790_000_000.0, wall_trusted=True)
STOPPED = Moment(49_990.0, 1_789_999_990.0, wall_trusted=True)
BOOT = "this boot"


def remembered(
    history: History,
    *,
    cleanly: bool = True,
    boot: str = BOOT,
    state: ChamberState | None = None,
    last: Moment = STOPPED,
) -> Outage:
    """What the journal gives back of a process that had this history of the fridge."""
    site = recall.recall(SETTINGS, NOTHING, BOOT, STOPPED).state
    lager = state or site.chambers["lager"]
    lager = replace(lager, histories={**lager.histories, Duty.COOL: history})
    lines, chambers = recall.records(
        SETTINGS, replace(site, chambers={"lager": lager}), {"lager": 11.5}
    )
    return Outage(boot, cleanly, last, tuple(lines), tuple(chambers))


NOTHING = Outage(None, ended_cleanly=False, last=None, lines=(), chambers=())


def recalled(outage: Outage, site: SiteFile = PLACE) -> recall.Recalled:
    return recall.recall(site.settings, outage, BOOT, NOW)


def fridge(found: recall.Recalled) -> History:
    return found.state.chambers["lager"].histories[Duty.COOL]


past_s = st.floats(0.0, STOPPED.mono_s)


@given(
    started_s=st.none() | past_s,
    stopped_s=st.none() | past_s,
    starts_s=st.lists(past_s, max_size=12).map(sorted).map(tuple),
    rest_s=st.none() | st.floats(0.0, 60_000.0),
)
def test_after_an_orderly_stop_in_this_boot_the_history_is_exactly_what_it_was(
    started_s: float | None,
    stopped_s: float | None,
    starts_s: tuple[float, ...],
    rest_s: float | None,
) -> None:
    history = History(False, started_s, stopped_s, starts_s, None, rest_s)
    assert fridge(recalled(remembered(history))) == history


IDLE = History(
    on=False, started_mono_s=48_000.0, stopped_mono_s=49_000.0, starts_mono_s=(48_000.0,)
)


@pytest.mark.parametrize(
    "outage",
    [
        remembered(IDLE, cleanly=False),
        remembered(IDLE, boot="the boot before"),
        remembered(replace(IDLE, on=True)),
        replace(remembered(IDLE), lines=()),
        NOTHING,
        # A time that is yet to come was not written in this boot.
        remembered(replace(IDLE, stopped_mono_s=NOW.mono_s + 1.0)),
    ],
    ids=["unclean", "other-boot", "left-on", "no-line", "new-journal", "times-ahead"],
)
def test_whatever_is_not_proven_counts_as_stopped_just_now_after_every_start_that_is_allowed(
    outage: Outage,
) -> None:
    found = fridge(recalled(outage))
    worst = unknown_history(PROTECTION, NOW.mono_s)
    # Starts that are known of may come on top; none of the worst case is left out.
    assert set(worst.starts_mono_s) <= set(found.starts_mono_s)
    assert replace(found, starts_mono_s=worst.starts_mono_s) == worst
    assert found.stopped_mono_s == NOW.mono_s


def test_a_rest_after_a_fault_goes_on_over_an_unclean_end() -> None:
    resting = replace(IDLE, rest_until_mono_s=NOW.mono_s + 500.0)
    found = fridge(recalled(remembered(resting, cleanly=False)))
    assert found.rest_until_mono_s == NOW.mono_s + 500.0
    assert found.stopped_mono_s == NOW.mono_s


def test_a_renamed_output_keeps_the_history_of_its_line() -> None:
    renamed = site_file(
        Path("/nowhere"), SITE.replace("output.fridge", "output.cold").replace('"fridge"', '"cold"')
    )
    assert renamed.settings.chambers[0].by_duty[Duty.COOL].name == "cold"
    assert fridge(recalled(remembered(IDLE), renamed)) == IDLE


def test_an_output_that_was_plugged_into_another_relay_has_no_history() -> None:
    moved = site_file(Path("/nowhere"), SITE.replace("gpio = 17", "gpio = 18"))
    assert fridge(recalled(remembered(IDLE), moved)) == unknown_history(PROTECTION, NOW.mono_s)


def in_profile(elapsed_s: float) -> ChamberState:
    fresh = recall.recall(SETTINGS, NOTHING, BOOT, STOPPED).state.chambers["lager"]
    progress, _ = begin(Profile("test", (Hold(10.0, 86_400.0), Hold(4.0, 3600.0))), 18.0)
    return replace(fresh, mode=Mode.PROFILE, progress=replace(progress, elapsed_s=elapsed_s))


@pytest.mark.parametrize("boot", [BOOT, "the boot before"])
@pytest.mark.parametrize("cleanly", [True, False])
@given(elapsed_s=st.floats(0.0, 86_399.0).map(lambda s: round(s, 3)))
def test_a_profile_goes_on_where_its_own_clock_stood_after_any_end(
    boot: str, cleanly: bool, elapsed_s: float
) -> None:
    kept = remembered(IDLE, boot=boot, cleanly=cleanly, state=in_profile(elapsed_s))
    lager = recalled(kept).state.chambers["lager"]
    assert lager.mode is Mode.PROFILE
    assert lager.progress is not None
    assert (lager.progress.index, lager.progress.elapsed_s) == (0, elapsed_s)
    assert lager.progress.profile.steps == (Hold(10.0, 86_400.0), Hold(4.0, 3600.0))


def test_a_target_set_by_hand_is_held_again() -> None:
    fresh = in_profile(0.0)
    by_hand = replace(fresh, mode=Mode.HAND, hand=Target.at(9.5), progress=None)
    lager = recalled(remembered(IDLE, cleanly=False, state=by_hand)).state.chambers["lager"]
    assert (lager.mode, lager.hand) == (Mode.HAND, Target.at(9.5))


@pytest.mark.parametrize(
    "garbage",
    [
        "",
        "{",
        "null",
        "[]",
        '"text"',
        "{}",
        '{"control": null, "beer_c": null}',
        '{"control": {"version": 99}, "beer_c": null}',
        '{"control": {"version": 1, "mode": "dreaming"}, "beer_c": 4.0}',
    ],
)
def test_a_record_that_cannot_be_read_costs_this_chamber_its_target_and_nothing_else(
    garbage: str,
) -> None:
    kept = replace(remembered(IDLE), chambers=(ChamberRecord("lager", garbage),))
    found = recalled(kept)
    assert found.unreadable == ("lager",)
    assert found.state.chambers["lager"].mode is Mode.OFF
    assert fridge(found) == IDLE


@given(
    st.recursive(
        st.none() | st.booleans() | st.floats() | st.text(),
        lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
    )
)
def test_no_record_whatever_keeps_the_daemon_from_starting(plain: object) -> None:
    text = json.dumps(plain)
    kept = replace(
        remembered(IDLE), chambers=(ChamberRecord("lager", text), ChamberRecord(recall.SITE, text))
    )
    assert fridge(recalled(kept)) == IDLE


def test_the_beer_before_the_outage_is_remembered() -> None:
    assert recalled(remembered(IDLE, cleanly=False)).beer_c == {"lager": 11.5}


def test_an_alarm_of_the_board_that_nobody_has_seen_outlives_the_process() -> None:
    expired = Condition(AlarmKind.LEASE_EXPIRED, FRIDGE, 1.0)
    raised, _ = observe((), {(expired.kind, expired.subject): expired}, 100.0, 1e9)
    state = recall.recall(SETTINGS, NOTHING, BOOT, NOW).state
    _, chambers = recall.records(SETTINGS, state, {}, raised)
    (alarm,) = recalled(replace(NOTHING, chambers=tuple(chambers))).site_alarms
    assert (alarm.kind, alarm.subject) == (AlarmKind.LEASE_EXPIRED, FRIDGE)
    assert alarm.phase is AlarmPhase.RAISED
    assert not alarm.holds
    assert alarm.raised_wall_utc_s == 1e9
    # It is latched: a day later it still waits for a person.
    kept, changed = observe((alarm,), {}, NOW.mono_s + 86_400.0, NOW.wall_utc_s)
    assert (kept, changed) == ((alarm,), ())


def read_again(text: str) -> SiteFile:
    return parse_site(text.replace("JOURNAL", "/nowhere/journal.db"), Path("/nowhere/fermd.toml"))


def test_settings_that_are_read_again_leave_lines_their_history_and_chambers_their_profile() -> (
    None
):
    before = recalled(remembered(replace(IDLE), state=in_profile(500.0))).state
    running = replace(IDLE, on=True, started_mono_s=49_999.0)
    lager = before.chambers["lager"]
    before = replace(
        before,
        chambers={"lager": replace(lager, histories={**lager.histories, Duty.COOL: running})},
    )
    wider = read_again(
        SITE.replace("[simulated]", "[chamber.lager.cool]\nband_c = 0.5\n\n[simulated]")
    )
    assert wider.settings != SETTINGS
    after = recall.adopt(before, SETTINGS, wider.settings, NOW).chambers["lager"]
    assert after.histories == before.chambers["lager"].histories
    assert after.progress == before.chambers["lager"].progress
    assert after.healths == before.chambers["lager"].healths
    assert PROTECTION.minimum_off_s == MINIMUM_OFF_S
