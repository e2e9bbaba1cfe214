"""Site files drawn from a seed: every number of bands, protections and limits within its range."""

from __future__ import annotations

import copy
from random import Random
from typing import Any

from fermd.config.site import lease_s

Table = dict[str, Any]

ZONES = ("Europe/Vienna", "America/New_York", "Australia/Lord_Howe", "UTC", "Asia/Kathmandu")
"""Lord Howe's clocks change by half an hour, Kathmandu's never, and stand at a quarter."""


def draw_site(random: Random, most_chambers: int = 3) -> Table:
    """Return a site file as tables: one chamber, or several that share a supply."""
    chambers = min(most_chambers, random.choice([1, 1, 1, 1, 1, 1, 2, 2, 3]))
    period_s = random.choice([60, 60, 60, 60, 30, 30, 20, 10])
    if chambers > 1 or most_chambers < 3:
        period_s = 60
    site: Table = {
        "time_zone": random.choice(ZONES),
        "pin_factory": "lgpio",
        "chip": "pinctrl-bcm2711",
        "sample_period_s": float(period_s),
        "journal_path": "journal.db",
        "socket_path": "run/fermd.sock",
        "probe": {},
        "output": {},
        "circuit": {},
        "chamber": {},
    }
    for number in range(chambers):
        _draw_chamber(site, number, random)
    if chambers > 1 and random.random() < 0.8:
        _share_supply(site, random)
    return site


def _draw_chamber(site: Table, number: int, random: Random) -> None:
    name = f"chamber-{number + 1}"
    period_s = site["sample_period_s"]
    chamber: Table = {"outputs": [], "vessel_probe": f"vessel-{number + 1}"}
    _draw_probe(site, chamber["vessel_probe"], 3 * number, random, lease_s(period_s))
    if random.random() < 0.85:
        chamber["air_probe"] = f"air-{number + 1}"
        _draw_probe(site, chamber["air_probe"], 3 * number + 1, random, lease_s(period_s))
    if random.random() < 0.2:
        chamber["watching_probes"] = [f"room-{number + 1}"]
        _draw_probe(site, f"room-{number + 1}", 3 * number + 2, random, lease_s(period_s))
    cools, heats = random.random() < 0.95, random.random() < 0.85
    duties = [duty for duty, there in (("cool", cools), ("heat", heats or not cools)) if there]
    if random.random() < 0.35:
        duties.append("fan")
    for place, duty in enumerate(duties):
        output = f"{duty}-{number + 1}"
        chamber["outputs"].append(output)
        site["output"][output] = _draw_output(duty, 4 + 3 * number + place, random)
    _draw_numbers(chamber, site, duties, random)
    site["chamber"][name] = chamber


def _draw_probe(site: Table, name: str, number: int, random: Random, lease: float) -> None:
    site["probe"][name] = {
        "id": f"28-00000{number + 1:07x}",
        "stale_s": round(max(10.0, lease * random.uniform(1.0, 3.0))),
        "offset_c": random.choice([0.0, 0.0, 0.25, -0.4]),
        "bad_run": random.randint(2, 6),
        "good_run": random.randint(1, 4),
        "median_of": random.choice([1, 3, 3, 5]),
        "frozen_s": random.choice([0, 2 * 3600, 6 * 3600, 86400]),
    }


def _draw_output(duty: str, gpio: int, random: Random) -> Table:
    output: Table = {"gpio": gpio, "active": random.choice(["low", "high"]), "duty": duty}
    if duty == "cool":
        if random.random() < 0.12:
            output["kind"] = "valve"
        else:
            output["protection"] = {
                "minimum_off_s": random.choice([180, 300, 300, 600]),
                "minimum_run_s": random.choice([120, 180, 180, 300]),
                "starts_per_hour": random.choice([2, 3, 4, 6, 6, 12]),
                "power_up_delay_s": random.choice([180, 300, 600]),
                "longest_run_s": random.choice([1, 2, 4, 8, 8]) * 3600,
                "rest_s": random.choice([600, 1800, 3600]),
            }
    elif duty == "heat":
        output["protection"] = {
            "minimum_off_s": random.choice([0, 30, 120]),
            "minimum_run_s": random.choice([0, 30, 120]),
            "starts_per_hour": random.choice([0, 0, 6, 20]),
            "longest_run_s": random.choice([1, 4, 12]) * 3600,
            "rest_s": random.choice([300, 900]),
        }
    else:
        output["run_on_s"] = random.choice([0, 60, 300])
    if duty != "fan":
        output["effect"] = {
            "within_s": random.choice([1800, 3600, 7200]),
            "wrong_way_c": random.choice([0.5, 1.0]),
        }
    return output


def _draw_numbers(chamber: Table, site: Table, duties: list[str], random: Random) -> None:
    chamber["heat"] = {"band_c": random.choice([0.3, 0.5, 1.0]), "differential_c": 0.3}
    chamber["cool"] = {
        "band_c": random.choice([0.2, 0.3, 0.6]),
        "differential_c": random.choice([0.1, 0.3]),
    }
    chamber["changeover_s"] = random.choice([0, 120, 600, 600, 1800])
    chamber["limits"] = {
        "air_lowest_c": random.choice([-8.0, -5.0, -2.0, 2.0]),
        "air_highest_c": random.choice([26.0, 32.0, 40.0]),
        "freezing_point_c": random.choice([-2.2, -1.5, -0.5]),
        "carry_on_without_air": random.random() < 0.3,
    }
    chamber["foresight"] = {"foresee": random.random() < 0.7}
    if random.random() < 0.3:
        duty = random.choice([one for one in duties if one != "fan"])
        chamber["fail_safe"] = {
            "duty": duty,
            "run_s": random.choice([300, 600, 900]),
            "every_s": random.choice([1800, 3600]),
        }


def _share_supply(site: Table, random: Random) -> None:
    amperes = {"cool": [0.8, 1.2], "heat": [0.2, 0.5]}
    shared = [one for one in site["output"].values() if one["duty"] != "fan"]
    for output in shared:
        output["circuit"] = "garage"
        output["rated_a"] = random.choice(amperes[output["duty"]])
    rated = sorted(one["rated_a"] for one in shared)
    site["circuit"]["garage"] = {
        "limit_a": round(rated[-1] + random.choice([0.0, 0.25, 0.9]), 2),
    }


def edit(site: Table, changes: list[tuple[list[str], Any]]) -> Table:
    """Return the site with these values in the places of others."""
    edited = copy.deepcopy(site)
    for path, value in changes:
        table = edited
        for key in path[:-1]:
            table = table.setdefault(key, {})
        table[path[-1]] = value
    return edited


def draw_edit(site: Table, random: Random) -> list[list[Any]]:
    """Draw a change of numbers that a running daemon takes over."""
    chamber = random.choice(sorted(site["chamber"]))
    output = random.choice(sorted(site["output"]))
    changes: list[tuple[list[str], Any]] = [
        (["chamber", chamber, "changeover_s"], random.choice([0, 300, 900])),
        (["chamber", chamber, "cool", "band_c"], random.choice([0.2, 0.4, 1.0])),
        (["chamber", chamber, "limits", "air_highest_c"], random.choice([25.0, 30.0, 40.0])),
        (["chamber", chamber, "limits", "air_lowest_c"], random.choice([-6.0, -1.0, 3.0])),
        (["chamber", chamber, "limits", "freezing_point_c"], random.choice([-2.0, -0.5])),
    ]
    for name, circuit in sorted(site["circuit"].items()):
        rated_a = max(one.get("rated_a", 0.0) for one in site["output"].values())
        other_a = round(max(rated_a, circuit["limit_a"] + random.choice([-0.4, 0.3, 0.8])), 2)
        changes.append((["circuit", name, "limit_a"], other_a))
    probe = random.choice(sorted(site["probe"]))
    changes.append((["probe", probe, "median_of"], random.choice([1, 3, 5])))
    if site["output"][output]["duty"] == "cool" and site["output"][output].get("kind") != "valve":
        where = ["output", output, "protection"]
        changes.append(([*where, "minimum_off_s"], random.choice([180, 300, 900])))
        changes.append(([*where, "starts_per_hour"], random.choice([2, 4, 12])))
        changes.append(([*where, "longest_run_s"], random.choice([3600, 7200, 14400])))
    return [list(change) for change in random.sample(changes, random.randint(1, 3))]


def written(site: Table) -> str:
    """Return a site as TOML."""
    lines: list[str] = []
    _write(lines, site, ())
    return "\n".join(lines) + "\n"


def _write(lines: list[str], table: Table, path: tuple[str, ...]) -> None:
    plain = {key: value for key, value in table.items() if not isinstance(value, dict)}
    if path and plain:
        lines.append(f"[{'.'.join(path)}]")
    for key, value in plain.items():
        lines.append(f"{key} = {_value(value)}")
    for key, value in table.items():
        if isinstance(value, dict):
            _write(lines, value, (*path, key))


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, list):
        return "[" + ", ".join(_value(one) for one in value) + "]"
    return repr(value)
