"""Numbers that are each fine and contradict each other are objected to, with what to do."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from chamber_bench import air_probe, fridge, heater, settings

from fermd.control.settings import (
    PROTECTION_BY_KIND,
    ChamberSettings,
    CoolBandSettings,
    Duty,
    FailSafeSettings,
    HeatBandSettings,
    LimitSettings,
    OutputKind,
    OutputSettings,
    ProbeSettings,
    crossed,
)


def objections(**given: Any) -> dict[str, str]:
    return {objection.key: objection.why for objection in crossed(settings(**given))}


def compressor(**given: Any) -> OutputSettings:
    return fridge(protection=replace(PROTECTION_BY_KIND[OutputKind.COMPRESSOR], **given))


def test_the_defaults_contradict_nothing() -> None:
    outputs = tuple(
        OutputSettings(kind.value, kind.value, duty, kind, PROTECTION_BY_KIND[kind])
        for kind, duty in (
            (OutputKind.COMPRESSOR, Duty.COOL),
            (OutputKind.HEATER, Duty.HEAT),
            (OutputKind.FAN, Duty.FAN),
        )
    )
    assert crossed(ChamberSettings("lager", ProbeSettings("beer"), outputs=outputs)) == []
    valve = OutputSettings(
        "glycol", "5", Duty.COOL, OutputKind.VALVE, PROTECTION_BY_KIND[OutputKind.VALVE]
    )
    assert crossed(ChamberSettings("lager", ProbeSettings("beer"), outputs=(valve,))) == []


@pytest.mark.parametrize(
    ("given", "key", "words"),
    [
        ({"heat": HeatBandSettings(0.3, 0.8)}, "heat.differential_c", "below 0.8 °C"),
        ({"cool": CoolBandSettings(0.3, 0.8)}, "cool.differential_c", "fight each other"),
        (
            {"limits": LimitSettings(air_lowest_c=20.0, air_highest_c=22.0)},
            "limits.air_lowest_c",
            "air_highest_c is 22 °C",
        ),
        (
            {"fail_safe": FailSafeSettings(Duty.COOL, run_s=3600.0, every_s=3600.0)},
            "fail_safe.run_s",
            "must be below every_s, which is 3600 s",
        ),
        (
            {"fail_safe": FailSafeSettings(Duty.COOL, run_s=120.0)},
            "fail_safe.run_s",
            "must be at least the minimum run time of fridge, which is 180 s",
        ),
        (
            {"fail_safe": FailSafeSettings(Duty.HEAT), "outputs": (fridge(),)},
            "fail_safe.duty",
            "has no such output",
        ),
        (
            {"outputs": (compressor(minimum_run_s=600.0, longest_run_s=600.0),)},
            "output.fridge.protection.minimum_run_s",
            "must be below longest_run_s, which is 600 s",
        ),
        (
            {"outputs": (compressor(minimum_off_s=179.0),)},
            "output.fridge.protection.minimum_off_s",
            "at least 180 s",
        ),
        (
            {"outputs": (compressor(minimum_run_s=119.0),)},
            "output.fridge.protection.minimum_run_s",
            "at least 120 s",
        ),
        (
            {"outputs": (compressor(starts_per_hour=13),)},
            "output.fridge.protection.starts_per_hour",
            "must be 1 to 12",
        ),
        (
            {"outputs": (compressor(starts_per_hour=0),)},
            "output.fridge.protection.starts_per_hour",
            "6 is usual",
        ),
        (
            {"air_probe": air_probe(lowest_c=30.0, highest_c=30.0)},
            "probe.air.lowest_c",
            "must be below highest_c, which is 30 °C",
        ),
    ],
)
def test_a_contradiction_is_named_with_what_is_allowed(
    given: dict[str, Any], key: str, words: str
) -> None:
    found = objections(**given)
    assert list(found) == [key]
    assert words in found[key]


def test_only_a_compressor_may_not_do_without_its_protection() -> None:
    bare = replace(PROTECTION_BY_KIND[OutputKind.HEATER], minimum_off_s=0.0, minimum_run_s=0.0)
    assert objections(outputs=(heater(protection=bare),)) == {}


def test_all_contradictions_are_told_at_once() -> None:
    found = objections(
        heat=HeatBandSettings(0.3, 0.8),
        outputs=(compressor(minimum_off_s=10.0, minimum_run_s=10.0),),
    )
    assert len(found) == 3


def test_a_chamber_knows_its_outputs_by_what_they_do_and_its_probes_by_their_rank() -> None:
    chamber = settings(watching_probes=(ProbeSettings("keg"),))
    assert {duty: output.name for duty, output in chamber.by_duty.items()} == {
        Duty.HEAT: "belt",
        Duty.COOL: "fridge",
    }
    assert [probe.name for probe in chamber.probes] == ["beer", "air", "keg"]
