"""A board with two chambers on one supply, and what may be seen of it from outside."""

from __future__ import annotations

from dataclasses import dataclass

from process_rig import AIR_ID, BELT_GPIO, FRIDGE_GPIO, SITE, VESSEL_ID

from fermd.control.settings import Duty

ALE_VESSEL_ID = "28-000006b67846"
ALE_AIR_ID = "28-0000071a2b3d"
COOLER_GPIO = 22
PAD_GPIO = 23

CHANGEOVER_S = 60.0
MINIMUM_OFF_S = 180.0
MINIMUM_RUN_S = 120.0
STARTS_PER_HOUR = 12
LONGEST_RUN_S = 1500.0
STALE_S = 600.0
LIMIT_A = 2.0

UNKNOWN_PAST_S = MINIMUM_OFF_S + MINIMUM_RUN_S
"""How long a compressor waits after a start that knows nothing of its past: with twelve starts an
hour, each run and pause as short as is allowed, a start comes every 300 s, and the next may come
so long after the last that could have been (`protection.unknown_history`)."""


@dataclass(frozen=True)
class Wire:
    """One relay and what hangs on it."""

    chamber: str
    output: str
    gpio: int
    duty: Duty
    rated_a: float

    @property
    def line(self) -> str:
        return f"gpio:pinctrl-bcm2711:{self.gpio}"

    @property
    def is_compressor(self) -> bool:
        return self.duty is Duty.COOL


WIRES = (
    Wire("lager", "fridge", FRIDGE_GPIO, Duty.COOL, 1.5),
    Wire("lager", "belt", BELT_GPIO, Duty.HEAT, 0.3),
    Wire("ale", "cooler", COOLER_GPIO, Duty.COOL, 1.5),
    Wire("ale", "pad", PAD_GPIO, Duty.HEAT, 0.3),
)
WIRE = {wire.gpio: wire for wire in WIRES}
PROBES = {"lager": (VESSEL_ID, AIR_ID), "ale": (ALE_VESSEL_ID, ALE_AIR_ID)}

_COMPRESSOR = f"""\
minimum_off_s = {MINIMUM_OFF_S:g}
minimum_run_s = {MINIMUM_RUN_S:g}
starts_per_hour = {STARTS_PER_HOUR}
power_up_delay_s = 0
longest_run_s = {LONGEST_RUN_S:g}
rest_s = 600
"""

_ON_THE_SUPPLY = """
circuit = "wall"
rated_a = {wire.rated_a}
"""


def site_text(journal: str = "FOLDER/journal.db", *, strict: bool = False) -> str:
    """The site file; `strict` has wider bands and a longer minimum off time."""
    text = SITE.replace('journal_path = "FOLDER/journal.db"', f'journal_path = "{journal}"')
    head, protection, rest = text.partition("[output.fridge.protection]\n")
    compressor = _COMPRESSOR
    if strict:
        compressor = compressor.replace(f"= {MINIMUM_OFF_S:g}\n", f"= {MINIMUM_OFF_S + 120:g}\n")
    text = head + protection + compressor + rest[rest.index("\n[output.belt]") :]
    outputs = text[text.index("[output.fridge]") : text.index("[chamber.lager]")]
    chamber = text[text.index("[chamber.lager]") :]
    probes = text[text.index("[probe.vessel]") : text.index("[output.fridge]")]
    second = (probes + outputs + chamber).replace("lager", "ale")
    for ours, theirs in (
        ("fridge", "cooler"),
        ("belt", "pad"),
        (f"gpio = {FRIDGE_GPIO}", f"gpio = {COOLER_GPIO}"),
        (f"gpio = {BELT_GPIO}", f"gpio = {PAD_GPIO}"),
        (VESSEL_ID, ALE_VESSEL_ID),
        (AIR_ID, ALE_AIR_ID),
        ("probe.vessel", "probe.ale-vessel"),
        ("probe.air", "probe.ale-air"),
        ('vessel_probe = "vessel"', 'vessel_probe = "ale-vessel"'),
        ('air_probe = "air"', 'air_probe = "ale-air"'),
    ):
        second = second.replace(ours, theirs)
    text = f"{text}\n{second}\n[circuit.wall]\nlimit_a = {LIMIT_A:g}\n"
    for wire in WIRES:
        known = f"gpio = {wire.gpio}\n"
        text = text.replace(known, known + _ON_THE_SUPPLY.format(wire=wire).lstrip())
    if strict:
        text += "\n[chamber.lager.heat]\nband_c = 0.8\n"
    return text
