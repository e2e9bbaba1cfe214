"""A site file that is good, and what is read from it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from fermd.config.against_bus import check_against_bus
from fermd.config.example import SHORT_SITE, example_site
from fermd.config.site import RelayLine, SiteFile, lease_s
from fermd.config.site_file import cautions, load_site, parse_site
from fermd.control.calendar import CalendarTime
from fermd.control.settings import (
    PROTECTION_BY_KIND,
    ChamberSettings,
    Duty,
    OutputKind,
    ProbeRole,
    ProbeSettings,
    crossed,
)

TWO_CHAMBERS = """
[probe.barrel]
id = "22-0000000000aa"
stale_s = 60

[output.chiller]
gpio = 5
active = "high"
duty = "cool"
kind = "valve"
circuit = "shed"
rated_a = 3

[circuit.shed]
limit_a = 10

[chamber.cellar]
vessel_probe = "barrel"
outputs = ["chiller"]
"""


def site(text: str = SHORT_SITE) -> SiteFile:
    return parse_site(text, Path("/etc/fermd/fermd.toml"))


def test_the_common_case_takes_less_than_25_lines() -> None:
    assert len(SHORT_SITE.splitlines()) < 25


def test_the_short_file_gives_one_chamber_that_heats_and_cools(tmp_path: Path) -> None:
    file = tmp_path / "fermd.toml"
    file.write_text(SHORT_SITE)
    read = load_site(file)
    (chamber,) = read.settings.chambers
    assert chamber.name == "lager"
    assert chamber.vessel_probe == ProbeSettings("vessel", ProbeRole.CONTROLLING)
    assert chamber.air_probe == ProbeSettings("air", ProbeRole.LIMITING)
    assert set(chamber.by_duty) == {Duty.HEAT, Duty.COOL}
    assert read.probe_ids == {"vessel": "28-000006b67845", "air": "28-0000071a2b3c"}
    assert read.path == file
    assert read.simulated is None


def test_numbers_that_are_not_in_the_file_are_the_defaults_of_the_settings() -> None:
    (chamber,) = site().settings.chambers
    bare = ChamberSettings("lager", chamber.vessel_probe, chamber.air_probe, (), chamber.outputs)
    assert chamber == bare
    assert crossed(chamber) == []


def test_cooling_is_taken_for_a_compressor_so_that_it_is_protected_the_most() -> None:
    fridge = site().settings.chambers[0].by_duty[Duty.COOL]
    assert fridge.kind is OutputKind.COMPRESSOR
    assert fridge.protection == PROTECTION_BY_KIND[OutputKind.COMPRESSOR]


def test_one_number_of_the_protection_can_be_changed_and_the_others_stay_as_for_the_kind() -> None:
    changed = site(SHORT_SITE + "[output.fridge.protection]\nminimum_off_s = 420\n")
    protection = changed.settings.chambers[0].by_duty[Duty.COOL].protection
    usual = PROTECTION_BY_KIND[OutputKind.COMPRESSOR]
    assert protection.minimum_off_s == 420.0
    assert protection.minimum_run_s == usual.minimum_run_s
    assert protection.starts_per_hour == usual.starts_per_hour


def test_history_belongs_to_the_line_which_is_named_by_chip_label_and_number() -> None:
    read = site()
    assert read.settings.chambers[0].by_duty[Duty.COOL].line == "gpio:pinctrl-bcm2711:17"
    assert read.relays == (
        RelayLine("gpio:pinctrl-bcm2711:17", "fridge", "pinctrl-bcm2711", 17, False),
        RelayLine("gpio:pinctrl-bcm2711:27", "belt", "pinctrl-bcm2711", 27, False),
    )


def test_a_site_has_several_chambers_and_circuits_with_a_limit() -> None:
    read = site(SHORT_SITE + TWO_CHAMBERS)
    assert [chamber.name for chamber in read.settings.chambers] == ["lager", "cellar"]
    (circuit,) = read.settings.circuits
    assert (circuit.name, circuit.limit_a) == ("shed", 10.0)
    chiller = read.settings.chambers[1].by_duty[Duty.COOL]
    assert (chiller.circuit, chiller.rated_a) == ("shed", 3.0)
    assert read.relays[-1].active_high


def test_whole_numbers_and_round_numbers_are_taken_for_what_they_are() -> None:
    text = SHORT_SITE + "[chamber.lager.heat]\nband_c = 1\n[chamber.lager.cool]\nband_c = 0.50\n"
    (chamber,) = site(text).settings.chambers
    assert (chamber.heat.band_c, chamber.cool.band_c) == (1.0, 0.5)
    assert isinstance(chamber.heat.band_c, float)


@pytest.mark.parametrize(
    ("sample_period_s", "expected_s"), [(2.0, 15.0), (5.0, 15.0), (10.0, 30.0), (60.0, 180.0)]
)
def test_the_lease_of_a_relay_follows_from_the_sample_period(
    sample_period_s: float, expected_s: float
) -> None:
    assert lease_s(sample_period_s) == expected_s
    if expected_s <= 120.0:
        assert site(f"sample_period_s = {sample_period_s}\n{SHORT_SITE}").lease_s == expected_s


def test_paths_start_at_the_folder_of_the_site_file() -> None:
    read = site('journal_path = "trial/beer.db"\nw1_root = "/tmp/w1"\n' + SHORT_SITE)
    assert read.journal_path == Path("/etc/fermd/trial/beer.db")
    assert read.w1_root == Path("/tmp/w1")  # noqa: S108
    assert read.socket_path == Path("/run/fermd/fermd.sock")


def test_the_time_zone_is_one_that_can_be_used() -> None:
    assert site().zone.key == "Europe/Vienna"


def test_a_trial_needs_no_chip_and_stays_out_of_the_record_of_real_beer() -> None:
    text = re.sub(r"(?m)^(chip|pin_factory).*\n", "", SHORT_SITE)
    trial = site(text + "[simulated]\nvolume_l = 50\n")
    assert trial.simulated is not None
    assert trial.simulated.volume_l == 50.0
    assert trial.simulated.original_extract_p == 12.0
    assert [relay.line for relay in trial.relays] == ["sim:17", "sim:27"]
    assert trial.settings.chambers[0].by_duty[Duty.HEAT].line == "sim:27"
    assert trial.journal_path != site().journal_path


def test_the_same_file_runs_as_a_trial_with_one_line_more() -> None:
    real, trial = site(), site(SHORT_SITE + "[simulated]\n")
    assert trial.simulated is not None
    assert [c.name for c in trial.settings.chambers] == [c.name for c in real.settings.chambers]


def test_names_may_be_in_any_script() -> None:
    text = SHORT_SITE.replace("[output.fridge]", '[output."Kühlschrank"]')
    text = text.replace('["fridge",', '["Kühlschrank",')
    assert site(text).relays[0].output == "Kühlschrank"


def test_the_long_example_loads_and_leaves_every_number_at_its_default() -> None:
    long, short = site(example_site()), site()
    chamber, plain = long.settings.chambers[0], short.settings.chambers[0]
    assert chamber.heat == plain.heat
    assert chamber.limits == plain.limits
    assert chamber.fail_safe == plain.fail_safe
    assert chamber.vessel_probe == plain.vessel_probe
    assert chamber.by_duty[Duty.COOL].protection == plain.by_duty[Duty.COOL].protection
    assert long.sample_period_s == short.sample_period_s


def test_every_line_of_the_long_example_can_be_switched_on_and_changes_only_what_it_says() -> None:
    text = re.sub(r"(?m)^#(?=[a-z_]+ = )", "", example_site())
    text = text.replace("#[web]", "[web]").replace("#[broker]", "[broker]")
    text = text.replace("#[messages", "[messages").replace("#[keeping]", "[keeping]")
    simulated_keys = text.index("#[simulated]")
    switched_on = site(text[:simulated_keys])
    left_off = site(example_site())
    on, off = switched_on.settings.chambers[0], left_off.settings.chambers[0]
    assert on.outputs == off.outputs
    assert on.probes == off.probes
    assert on.fail_safe.duty is Duty.COOL
    assert (on.limits, on.attention, on.heat) == (off.limits, off.attention, off.heat)
    assert switched_on.web is not None
    assert switched_on.web.address == ("0.0.0.0", 8080)  # noqa: S104 - what the example shows
    assert left_off.web is None
    assert switched_on.broker is not None
    assert switched_on.broker.effective_port == 8883
    assert switched_on.known_as == "cellar"
    assert left_off.broker is None
    assert switched_on.messages is not None
    assert switched_on.messages.digest_at == CalendarTime(8, 0)
    assert switched_on.messages.to["lamp"].command == ("/usr/local/bin/lamp", "red")
    assert left_off.messages is None
    trial = site(text.replace("#[simulated]", "[simulated]"))
    assert trial.simulated == site(SHORT_SITE + "[simulated]\n").simulated


def test_the_long_example_explains_its_keys_in_the_words_of_the_settings() -> None:
    text = example_site()
    assert "# Nothing is called for closer to the target than this, °C." in text
    assert "# More than" not in text.split("[probe.air]")[1].split("[output")[0]
    assert max(map(len, text.splitlines())) <= 100


def test_a_heater_without_an_air_probe_is_worth_a_caution() -> None:
    text = SHORT_SITE.replace('air_probe = "air"', 'watching_probes = ["air"]')
    assert [str(caution) for caution in cautions(site(text))] == [
        "chamber.lager.air_probe: none: the heater runs without an upper limit for the air"
    ]


def test_loads_that_cannot_run_together_are_worth_a_caution() -> None:
    text = SHORT_SITE.replace('"cool"', '"cool"\ncircuit = "wall"\nrated_a = 2.0')
    text = text.replace('"heat"', '"heat"\ncircuit = "wall"\nrated_a = 1.5')
    found = cautions(site(text + "[circuit.wall]\nlimit_a = 3\n"))
    assert [str(caution) for caution in found] == [
        'circuit.wall.limit_a = 3.0: "fridge" or "belt" together take 3.5 A: '
        "they will wait for one another"
    ]


def test_a_relay_on_the_pin_of_the_1_wire_bus_is_worth_a_caution() -> None:
    (caution,) = cautions(site(SHORT_SITE.replace("gpio = 17", "gpio = 4")))
    assert caution.key == "output.fridge.gpio"


def test_a_good_site_gives_no_caution() -> None:
    assert cautions(site()) == ()


def test_probes_that_are_all_on_the_bus_give_no_fault() -> None:
    assert check_against_bus(site(), ["28-0000071a2b3c", "28-000006b67845"]) == ()


def test_a_probe_that_is_not_on_the_bus_is_named_with_those_that_are() -> None:
    (fault,) = check_against_bus(site(), ["28-000006b67845", "28-ffff00000000", "28-0000071a2b3d"])
    assert str(fault) == (
        'probe.air.id = "28-0000071a2b3c": is not on the bus; on it, and without a name in the '
        'file: "28-0000071a2b3d" or "28-ffff00000000"'
    )


def test_an_empty_bus_is_told_with_what_to_check() -> None:
    faults = check_against_bus(site(), [])
    assert [fault.key for fault in faults] == ["probe.vessel.id", "probe.air.id"]
    assert all("4.7 kΩ" in fault.why and "dtoverlay=w1-gpio" in fault.why for fault in faults)


def test_a_missing_probe_on_a_bus_without_strangers_is_a_matter_of_wiring() -> None:
    (fault,) = check_against_bus(site(), ["28-000006b67845"])
    assert fault.why == (
        'is not on the bus; it shows "28-000006b67845", all of which have names: '
        'check the wiring of "28-0000071a2b3c"'
    )
