"""What is wrong with a site file: every fault names file, key, value, and what is allowed."""

from __future__ import annotations

from pathlib import Path

import pytest

from fermd.config.errors import ConfigError
from fermd.config.example import SHORT_SITE
from fermd.config.site_file import parse_site
from fermd.control.settings import crossed


def faults_of(text: str) -> list[str]:
    """Every line of the error that a text gives; none if it is good."""
    try:
        parse_site(text, Path("fermd.toml"))
    except ConfigError as error:
        return str(error).splitlines()
    return []


def with_table(header: str, *keys: str) -> str:
    return SHORT_SITE + f"[{header}]\n" + "\n".join(keys) + "\n"


def changed(*pairs: tuple[str, str]) -> str:
    text = SHORT_SITE
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new)
    return text


def test_an_unknown_key_is_refused_with_the_nearest_known_one() -> None:
    text = changed(('id = "28-0000071a2b3c"', 'id = "28-0000071a2b3c"\nofset_c = 0.1'))
    assert faults_of(text) == [
        "fermd.toml: probe.air.ofset_c = 0.1: unknown key; did you mean offset_c?"
    ]


def test_a_key_without_its_unit_is_refused_with_the_key_that_has_it() -> None:
    assert faults_of(with_table("chamber.lager.cool", "band = 0.3")) == [
        "fermd.toml: chamber.lager.cool.band = 0.3: unknown key; did you mean band_c?"
    ]


def test_a_key_in_the_wrong_table_is_told_where_it_belongs() -> None:
    (line,) = faults_of(changed(('duty = "cool"', 'duty = "cool"\nminimum_off_s = 300')))
    assert line == (
        "fermd.toml: output.fridge.minimum_off_s = 300: unknown key here; "
        "it belongs to protection.minimum_off_s"
    )


def test_an_unknown_key_that_is_like_no_other_gets_the_list_of_those_there_are() -> None:
    (line,) = faults_of(with_table("circuit.wall", "limit_a = 5", "xyzzy = 1"))
    assert line == "fermd.toml: circuit.wall.xyzzy = 1: unknown key; known here: limit_a"


def test_a_band_of_zero_is_refused_with_what_is_allowed_and_usual() -> None:
    (line,) = faults_of(with_table("chamber.lager.cool", "band_c = 0.0"))
    assert line == (
        "fermd.toml: chamber.lager.cool.band_c = 0.0: must be above 0 and at most 5 °C; 0.2 °C is "
        "the default. Nothing is called for closer to the target than this"
    )


@pytest.mark.parametrize(
    ("table", "key", "expected"),
    [
        ("chamber.lager.heat", 'band_c = "0.3"', '"0.3": is text; write the number without quotes'),
        ("chamber.lager.heat", "band_c = true", "true: must be a number above 0 and at most 5 °C"),
        ("chamber.lager.heat", "band_c = nan", "nan: must be a number above 0"),
        ("chamber.lager.heat", "band_c = inf", "inf: must be a number above 0"),
        ("chamber.lager.heat", "band_c = [0.3]", "[0.3]: must be a number above 0"),
        ("chamber.lager.heat", "band_c = {c = 1}", "a table: must be a number above 0"),
        ("chamber.lager.heat", "band_c = 2026-01-01", "2026-01-01: must be a number above 0"),
        ("chamber.lager.heat", "band_c = 0x" + "f" * 6000, "of about 7225 digits: must be"),
        ("chamber.lager.heat", "band_c = 1" + "0" * 400, "of about 401 digits: must be a number"),
        ("output.fridge.protection", "starts_per_hour = 6.0", "6.0: must be a whole number from 0"),
        ("output.fridge.protection", "starts_per_hour = true", "true: must be a whole number"),
        ("output.fridge.protection", "starts_per_hour = 0x" + "f" * 6000, "must be from 0 to 60"),
        ("chamber.lager.limits", "carry_on_without_air = 1", "1: must be true or false; false is"),
        ("chamber.lager.limits", 'carry_on_without_air = "yes"', '"yes": must be true or false'),
        ("chamber.lager.limits", "freezing_margin_c = 0", "0: must be from 0.2 to 10 °C; 0.7 °C"),
        ("chamber.lager.fail_safe", 'duty = "hot"', '"hot": did you mean "heat"? must be "heat",'),
        ("simulated", "times_real_time = 0", "0: must be from 1 to 1000; 60 is the default"),
    ],
)
def test_a_wrong_type_or_a_number_out_of_range_is_told_with_what_is_allowed(
    table: str, key: str, expected: str
) -> None:
    (line,) = faults_of(with_table(table, key))
    assert line.startswith(f"fermd.toml: {table}.{key.split(' = ')[0]} = ")
    assert expected in line


@pytest.mark.parametrize(
    ("line_of_file", "key", "allowed"),
    [
        ('time_zone = "Europe/Vienna"', "time_zone", "must be text in quotes"),
        ('id = "28-000006b67845"', "probe.vessel.id", "must be the id of a 1-Wire thermometer"),
        ("gpio = 17", "output.fridge.gpio", "must be a whole number from 0 to 511"),
        ('duty = "cool"', "output.fridge.duty", 'must be "heat", "cool" or "fan"'),
        ('vessel_probe = "vessel"', "chamber.lager.vessel_probe", "must be text in quotes"),
        ('pin_factory = "lgpio"', "pin_factory", 'must be "lgpio"'),
        ('chip = "pinctrl-bcm2711"', "chip", "must be the label of the GPIO chip"),
    ],
)
def test_what_must_be_said_is_missed_by_name(line_of_file: str, key: str, allowed: str) -> None:
    (line,) = faults_of(changed((line_of_file, "")))
    assert line.startswith(f"fermd.toml: {key}: is missing; {allowed}")


def test_the_level_that_switches_a_relay_on_is_never_guessed() -> None:
    found = faults_of(SHORT_SITE.replace('active = "low"', ""))
    assert [line.split(": is missing")[0] for line in found] == [
        "fermd.toml: output.fridge.active",
        "fermd.toml: output.belt.active",
    ]


def test_another_pin_factory_is_refused_instead_of_falling_back_on_it() -> None:
    (line,) = faults_of(changed(('"lgpio"', '"native"')))
    assert line.startswith('fermd.toml: pin_factory = "native": must be "lgpio"')


def test_bands_that_make_heating_and_cooling_fight_are_refused() -> None:
    assert faults_of(with_table("chamber.lager.heat", "differential_c = 0.8")) == [
        "fermd.toml: chamber.lager.heat.differential_c = 0.8: must be below 0.7 °C, which is "
        "heat.band_c + the changeover_band_c of the other side: a call that ends beyond the other "
        "side's band makes heating and cooling fight each other"
    ]


def test_a_heat_limit_below_the_cool_limit_is_refused() -> None:
    text = with_table("chamber.lager.limits", "air_highest_c = 4", "air_lowest_c = 10")
    assert faults_of(text) == [
        "fermd.toml: chamber.lager.limits.air_lowest_c = 10: must be below air_highest_c by more "
        "than twice air_differential_c (air_highest_c is 4 °C)"
    ]


def test_a_minimum_run_longer_than_the_longest_run_is_refused() -> None:
    text = with_table("output.fridge.protection", "minimum_run_s = 1200", "longest_run_s = 600")
    assert faults_of(text) == [
        "fermd.toml: output.fridge.protection.minimum_run_s = 1200: must be below longest_run_s, "
        "which is 600 s"
    ]


def test_a_compressor_may_not_do_without_its_minimum_off_time() -> None:
    assert faults_of(with_table("output.fridge.protection", "minimum_off_s = 60")) == [
        "fermd.toml: output.fridge.protection.minimum_off_s = 60: must be at least 180 s for a "
        "compressor; 300 to 600 s suits a domestic fridge"
    ]


def test_two_outputs_on_one_pin_are_refused() -> None:
    assert faults_of(changed(("gpio = 27", "gpio = 17"))) == [
        "fermd.toml: output.belt.gpio = 17: is already the pin of output.fridge; "
        "two outputs cannot share one"
    ]


def test_one_probe_under_two_names_is_refused() -> None:
    assert faults_of(changed(("28-0000071a2b3c", "28-000006b67845"))) == [
        'fermd.toml: probe.air.id = "28-000006b67845": is already the id of probe.vessel; '
        "one probe has one name and one role"
    ]


def test_one_probe_in_two_roles_is_refused() -> None:
    text = changed(('air_probe = "air"', 'air_probe = "air"\nwatching_probes = ["air"]'))
    assert faults_of(text) == [
        'fermd.toml: chamber.lager.watching_probes = ["air"]: "air" is already in '
        "chamber.lager.air_probe; a probe has one role"
    ]


def test_two_chambers_on_one_output_are_refused() -> None:
    text = SHORT_SITE + '[probe.p]\nid = "28-00000000abcd"\n'
    text += '[chamber.ale]\nvessel_probe = "p"\noutputs = ["belt"]\n'
    assert faults_of(text) == [
        'fermd.toml: chamber.ale.outputs = ["belt"]: "belt" is already in chamber.lager.outputs; '
        "an output has one chamber"
    ]


def test_two_outputs_of_one_duty_in_a_chamber_are_refused() -> None:
    assert faults_of(changed(('duty = "cool"', 'duty = "heat"'))) == [
        'fermd.toml: chamber.lager.outputs = ["fridge", "belt"]: both "fridge" and "belt" have '
        'duty "heat"; a chamber has one output for each duty'
    ]


def test_a_name_that_is_not_in_the_file_is_told_with_the_nearest() -> None:
    assert faults_of(changed(('air_probe = "air"', 'air_probe = "aire"'))) == [
        'fermd.toml: chamber.lager.air_probe = "aire": there is no [probe.aire]; '
        'did you mean "air"?'
    ]


def test_a_probe_or_an_output_that_no_chamber_has_is_refused() -> None:
    found = faults_of(changed(('air_probe = "air"\n', ""), ('["fridge", "belt"]', '["fridge"]')))
    assert found == [
        "fermd.toml: probe.air: belongs to no chamber; name it in a chamber's vessel_probe, "
        "air_probe or watching_probes, or take it out",
        "fermd.toml: output.belt: belongs to no chamber; name it in a chamber's outputs, "
        "or take it out",
    ]


def test_names_that_differ_only_in_their_capitals_are_refused() -> None:
    text = SHORT_SITE + '[probe.Air]\nid = "28-00000000abcd"\n'
    text = text.replace('air_probe = "air"', 'air_probe = "air"\nwatching_probes = ["Air"]')
    assert faults_of(text) == [
        "fermd.toml: probe.Air: is the same name as probe.air; give one of them another"
    ]


def test_a_name_used_twice_is_refused_with_its_line() -> None:
    assert faults_of(SHORT_SITE + "[output.belt]\n") == [
        "fermd.toml: line 25, column 13: this key or table is there a second time; keep one of them"
    ]


def test_a_key_set_twice_is_refused_with_its_line() -> None:
    assert faults_of('time_zone = "UTC"\n' + SHORT_SITE) == [
        "fermd.toml: line 2, column 28: this key or table is there a second time; keep one of them"
    ]


@pytest.mark.parametrize("name", ["", "a.b", "-x", "a b", "x" * 41, "a/b"])
def test_a_name_that_would_not_do_in_a_path_is_refused(name: str) -> None:
    text = SHORT_SITE + f'[circuit."{name}"]\nlimit_a = 5\n'
    (line,) = faults_of(text)
    assert line.startswith("fermd.toml: circuit.")
    assert "must be a name of letters, digits, - and _" in line


def test_an_unknown_circuit_is_refused_with_the_nearest() -> None:
    text = changed(('duty = "heat"', 'duty = "heat"\ncircuit = "wal"\nrated_a = 1'))
    assert faults_of(text + "[circuit.wall]\nlimit_a = 5\n") == [
        'fermd.toml: output.belt.circuit = "wal": there is no [circuit.wal]; did you mean "wall"?'
    ]


def test_a_rated_current_above_the_limit_of_its_circuit_is_refused() -> None:
    text = changed(('duty = "heat"', 'duty = "heat"\ncircuit = "wall"\nrated_a = 6.5'))
    assert faults_of(text + "[circuit.wall]\nlimit_a = 5\n") == [
        "fermd.toml: output.belt.rated_a = 6.5: must be at most 5 A, the limit_a of "
        "circuit.wall: it could never be switched on"
    ]


def test_an_output_on_a_circuit_needs_its_rated_current() -> None:
    text = changed(('duty = "heat"', 'duty = "heat"\ncircuit = "wall"'))
    assert faults_of(text + "[circuit.wall]\nlimit_a = 5\n") == [
        "fermd.toml: output.belt.rated_a: must be above 0 A for an output on a circuit; "
        "it stands on the load's name plate"
    ]


def test_a_lease_that_outlasts_the_trust_in_a_probe_is_refused() -> None:
    found = faults_of("sample_period_s = 60\n" + SHORT_SITE)
    assert found == [
        f"fermd.toml: probe.{name}.stale_s = 120.0: must be at least 180 s, the lease of the "
        "relays, which is 3 × sample_period_s (60 s) and no less than 15 s; raise it, or sample "
        "more often"
        for name in ("vessel", "air")
    ]


@pytest.mark.parametrize("period", ["1.9", "60.5", "0", "-10"])
def test_a_sample_period_out_of_range_is_refused_and_its_lease_not_talked_about(
    period: str,
) -> None:
    (line,) = faults_of(f"sample_period_s = {period}\n{SHORT_SITE}")
    assert line.startswith(
        f"fermd.toml: sample_period_s = {period}: must be from 2 to 60 s; 10 s is the default"
    )


@pytest.mark.parametrize(
    ("zone", "hint"),
    [
        ("Europe/Viena", '; did you mean "Europe/Vienna"?'),
        ("../etc/passwd", ""),
        ("right/Europe/Vienna", ""),
        ("Europe", ""),
        ("localtime", ""),
    ],
)
def test_a_time_zone_that_is_none_is_refused(zone: str, hint: str) -> None:
    (line,) = faults_of(changed(("Europe/Vienna", zone)))
    wanted = f'fermd.toml: time_zone = "{zone}": must be the IANA name of a time zone, like'
    assert line.startswith(wanted)
    assert hint in line


def test_a_heater_that_is_to_cool_is_refused() -> None:
    text = changed(('duty = "cool"', 'duty = "cool"\nkind = "heater"'))
    assert faults_of(text) == [
        'fermd.toml: output.fridge.kind = "heater": a heater cannot cool; for cool this is '
        '"compressor", "valve" or "fan"'
    ]


def test_run_on_is_for_fans() -> None:
    text = changed(('duty = "heat"', 'duty = "heat"\nrun_on_s = 60'))
    assert faults_of(text) == [
        'fermd.toml: output.belt.run_on_s = 60: is for outputs with duty "fan"; take it out'
    ]


def test_a_fail_safe_output_that_the_chamber_has_not_got_is_refused() -> None:
    (line,) = faults_of(with_table("chamber.lager.fail_safe", 'duty = "fan"'))
    assert line == (
        'fermd.toml: chamber.lager.fail_safe.duty = "fan": the chamber has no such output; '
        "leave the key out to keep everything off"
    )


def test_a_socket_path_that_linux_cannot_take_is_refused() -> None:
    (line,) = faults_of(f'socket_path = "/run/{"x" * 110}"\n{SHORT_SITE}')
    assert "must have at most 107 bytes" in line


def test_a_home_folder_is_not_guessed() -> None:
    (line,) = faults_of('journal_path = "~/beer.db"\n' + SHORT_SITE)
    assert line == (
        'fermd.toml: journal_path = "~/beer.db": must be a whole path; '
        "~ is not replaced by a home folder"
    )


def test_a_site_without_a_chamber_is_refused() -> None:
    found = faults_of(SHORT_SITE.split("[probe.vessel]")[0])
    assert found == ["fermd.toml: chamber: is missing; a site has at least one [chamber.NAME]"]


def test_a_table_that_is_a_value_and_a_value_that_is_a_table_are_refused() -> None:
    found = faults_of('[chip]\nx = 1\n[probe]\nair = "28-0000071a2b3c"\n')
    assert 'fermd.toml: probe.air = "28-0000071a2b3c": must be a table, with the header' in (
        " ".join(found)
    )
    assert any(line.startswith("fermd.toml: chip = a table: must be text") for line in found)


def test_a_list_of_names_takes_names_only() -> None:
    (line,) = faults_of(changed(('["fridge", "belt"]', '["fridge", 3]')))
    assert line == "fermd.toml: chamber.lager.outputs[2] = 3: must be text in quotes"
    (line,) = faults_of(changed(('["fridge", "belt"]', '"fridge"')))
    assert line.startswith(
        'fermd.toml: chamber.lager.outputs = "fridge": must be a list of names in quotes, like '
    )


def test_a_missing_vessel_probe_does_not_hide_what_else_is_wrong_with_the_chamber() -> None:
    text = changed(('vessel_probe = "vessel"', ""))
    text += "[chamber.lager.heat]\ndifferential_c = 5\n"
    keys = [line.split(": ")[1] for line in faults_of(text)]
    assert keys == ["chamber.lager.heat.differential_c = 5", "chamber.lager.vessel_probe"]


def test_a_fan_is_a_fan() -> None:
    text = changed(('duty = "heat"', 'duty = "fan"\nkind = "compressor"'))
    assert faults_of(text) == [
        'fermd.toml: output.belt.kind = "compressor": duty "fan" takes kind "fan" only; '
        "leave kind out"
    ]


def test_an_empty_path_is_refused() -> None:
    (line,) = faults_of('journal_path = ""\n' + SHORT_SITE)
    assert line == 'fermd.toml: journal_path = "": must be the path of a file or folder'


def test_a_limit_of_a_circuit_is_below_a_thousand_amperes() -> None:
    (line,) = faults_of(with_table("circuit.wall", "limit_a = 1000"))
    assert line.startswith(
        "fermd.toml: circuit.wall.limit_a = 1000: must be above 0 and below 1000 A"
    )


MANY_FAULTS = """
time_zone = "Europe/Viena"
pin_factory = "lgpio"
chp = "pinctrl-bcm2711"
sample_period_s = "10"

[probe.vessel]
id = "28-6b67845"
ofset_c = 0.1

[probe.air]
id = "28-0000071a2b3c"
stale_s = 12

[output.fridge]
gpio = 17
active = "lo"
duty = "cool"
[output.fridge.protection]
minimum_off_s = -5
minimum_run_s = 900
longest_run_s = 600

[output.belt]
gpio = 17
active = "low"
duty = "heat"

[chamber.lager]
vessel_probe = "vessel"
air_probe = "vessel"
watching_probes = ["air"]
outputs = ["fridge", "belt", "fan"]
[chamber.lager.heat]
band_c = true
[chamber.lager.cool]
band_c = 0.2
[chamber.lager.limits]
air_lowest_c = 20
air_highest_c = 10
"""


def test_all_faults_of_a_file_come_at_once_and_in_its_order() -> None:
    keys = [line.split(": ")[1].split(" = ")[0] for line in faults_of(MANY_FAULTS)]
    assert keys == [
        "time_zone",
        "chp",
        "sample_period_s",
        "probe.vessel.id",
        "probe.vessel.ofset_c",
        "output.fridge.active",
        "output.fridge.protection.minimum_off_s",
        "output.fridge.protection.minimum_run_s",
        "output.belt.gpio",
        "chamber.lager.air_probe",
        "chamber.lager.outputs",
        "chamber.lager.heat.band_c",
        "chamber.lager.limits.air_lowest_c",
        "chip",
    ]


def test_nothing_is_said_against_a_value_that_was_only_put_in_for_a_bad_one() -> None:
    text = with_table("chamber.lager.heat", 'band_c = "1"', "differential_c = 0.9")
    (line,) = faults_of(text)
    assert line.startswith('fermd.toml: chamber.lager.heat.band_c = "1": is text')
    text = changed(('duty = "cool"', 'duty = "col"')) + (
        "[output.fridge.protection]\nminimum_off_s = 0\n"
    )
    (line,) = faults_of(text)
    assert line.startswith('fermd.toml: output.fridge.duty = "col": did you mean "cool"?')


def test_a_file_that_is_found_good_has_no_contradiction_left() -> None:
    for chamber in parse_site(SHORT_SITE, Path("fermd.toml")).settings.chambers:
        assert crossed(chamber) == []


def test_no_fault_brings_a_control_character_of_the_file_onto_the_terminal() -> None:
    text = SHORT_SITE.replace('vessel_probe = "vessel"', 'vessel_probe = "\\u0000\\u001b[31m"')
    with pytest.raises(ConfigError) as refused:
        parse_site(text, Path("fermd.toml"))
    assert str(refused.value).replace("\n", "").isprintable()
