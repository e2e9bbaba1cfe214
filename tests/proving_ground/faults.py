"""Every kind of fault that the design names: how one is drawn, and what it does to a world.

A fault is an entry of the script. `inject` does it; where it lasts, the world takes it back itself
after `lasts_s`, however many processes have come and gone meanwhile.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from random import Random
from typing import TYPE_CHECKING, Any

from board import PHASES, mixed, moved_by
from disk import FAILING, FULL, READ_ONLY
from orders import draw_order
from script import Entry
from site_text import draw_edit

from fermd.control.reading import ProbeFault
from fermd.control.settings import DAY_S, HOUR_S, Duty
from fermd.hardware.simulated import SimulatedProbe

if TYPE_CHECKING:
    from world import World
    from world_run import Run

Args = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of fault."""

    draw: Callable[[Random, World], Args]
    inject: Callable[[Run, Args], None]
    weight: float = 1.0


def _log_uniform(random: Random, low: float, high: float) -> float:
    return round(math.exp(random.uniform(math.log(low), math.log(high))), 1)


def _while(random: Random, low_s: float = 60.0, high_s: float = 6 * HOUR_S) -> Args:
    return {"lasts_s": _log_uniform(random, low_s, high_s)}


# -- probes -------------------------------------------------------------------------------------


def _some_probe(random: Random, world: World) -> Args:
    # The controlling probe matters most.
    probes = sorted(world.site["probe"])
    vessels = [name for name in probes if name.startswith("vessel")]
    return {"probe": random.choice([*vessels, *probes]), **_while(random)}


def _breaks(fault: ProbeFault | None) -> Kind:
    def inject(run: Run, args: Args) -> None:
        probe_id = run.probe_id(args["probe"])
        if fault is None:
            run.probes.silence(probe_id)
        else:
            run.probes.break_probe(probe_id, fault)
        run.later(args["lasts_s"], lambda: run.probes.mend(probe_id))

    return Kind(_some_probe, inject)


def _freeze(run: Run, args: Args) -> None:
    probe_id = run.probe_id(args["probe"])
    run.probes.freeze(probe_id, args["temp_c"])
    run.later(args["lasts_s"], lambda: run.probes.mend(probe_id))


def _draw_freeze(random: Random, world: World) -> Args:
    probe = _some_probe(random, world)
    return {**probe, "temp_c": random.randrange(-32, 480) / 16, **_while(random, 600.0, 3 * DAY_S)}


def _spoils(
    made: Callable[[Run, Args], Callable[[Any], Any]], **more: Callable[[Random], Any]
) -> Kind:
    def draw(random: Random, world: World) -> Args:
        return {**_some_probe(random, world), **{key: of(random) for key, of in more.items()}}

    def inject(run: Run, args: Args) -> None:
        probe_id = run.probe_id(args["probe"])
        run.probes.spoil(probe_id, made(run, args))
        run.later(args["lasts_s"], lambda: run.probes.spoil(probe_id, None))

    return Kind(draw, inject)


def _drifting(run: Run, args: Args) -> Callable[[Any], Any]:
    began_s, rate_c_per_h = run.clock.true_utc_s, args["rate_c_per_h"]
    return moved_by(lambda: rate_c_per_h * (run.clock.true_utc_s - began_s) / HOUR_S)


def _spiky(run: Run, args: Args) -> Callable[[Any], Any]:
    random = Random(args["seed"])
    return moved_by(lambda: random.choice([0.0, 0.0, 0.0, 0.0, args["by_c"]]))


def _swap(run: Run, args: Args) -> None:
    """Somebody has mixed up two probes of a chamber."""
    ids = [run.probe_id(f"{place}-{args['chamber']}") for place in ("vessel", "air")]
    there = [run.probes.place_of(one) for one in ids]
    run.probes.move(ids[0], there[1])
    run.probes.move(ids[1], there[0])

    def back() -> None:
        run.probes.move(ids[0], there[0])
        run.probes.move(ids[1], there[1])

    run.later(args["lasts_s"], back)


def _draw_swap(random: Random, world: World) -> Args:
    with_air = [name[-1] for name in sorted(world.site["probe"]) if name.startswith("air")]
    return {"chamber": random.choice(with_air), **_while(random)} if with_air else {}


def _fall_out(run: Run, args: Args) -> None:
    """The vessel's probe lies on the floor of the room."""
    probe_id = run.probe_id(args["probe"])
    there = run.probes.place_of(probe_id)
    plant = there.plant
    run.probes.move(probe_id, SimulatedProbe(plant, lambda _: plant._ambient_c, there.model))
    run.later(args["lasts_s"], lambda: run.probes.move(probe_id, there))


# -- relays, loads, door ------------------------------------------------------------------------


def _some_output(random: Random, world: World) -> Args:
    return {"output": random.choice(sorted(world.site["output"])), **_while(random, 300.0, DAY_S)}


def _sticks(on: bool) -> Kind:
    def inject(run: Run, args: Args) -> None:
        line = run.line(args["output"])
        run.relays.stick(line, on)
        run.later(args["lasts_s"], lambda: run.relays.mend(line))

    return Kind(_some_output, inject)


def _take_line_away(run: Run, args: Args) -> None:
    line = run.line(args["output"])
    run.relays.break_line(line)
    run.later(args["lasts_s"], lambda: run.relays.mend(line))


def _dies(duty: Duty) -> Kind:
    def draw(random: Random, world: World) -> Args:
        having = [name[-1] for name in sorted(world.site["output"]) if name.startswith(duty.value)]
        return (
            {"chamber": random.choice(having), **_while(random, HOUR_S, 2 * DAY_S)}
            if having
            else {}
        )

    def inject(run: Run, args: Args) -> None:
        plant = run.plants[f"chamber-{args['chamber']}"]
        plant.break_load(duty, True, run.clock.true_utc_s)
        run.later(args["lasts_s"], lambda: plant.break_load(duty, False, run.clock.true_utc_s))

    return Kind(draw, inject, weight=1.5)


def _open_door(run: Run, args: Args) -> None:
    plant = run.plants[args["chamber"]]
    plant.set_door(True, run.clock.true_utc_s)
    run.later(args["lasts_s"], lambda: plant.set_door(False, run.clock.true_utc_s))


# -- power and processes ------------------------------------------------------------------------


def _draw_cut(random: Random, world: World) -> Args:
    longest_s = 3 * DAY_S if world.span_s > 10 * DAY_S else 12 * HOUR_S
    return {
        "lasts_s": _log_uniform(random, 1.0, longest_s),
        "wall_survives": random.random() < 0.4,
        "clock_set_after_s": random.choice([5.0, 60.0, 900.0, 6 * HOUR_S]),
        "written_by_then": random.choice([None, None, None, "unfinished"]),
    }


def _draw_past(random: Random, world: World) -> Args:
    cut = _draw_cut(random, world)
    past_s = random.choice([DAY_S, 400 * DAY_S, 20 * 365 * DAY_S])
    return {**cut, "wall_survives": False, "past_s": past_s}


def _flicker(run: Run, args: Args) -> None:
    for number in range(args["times"]):
        cut = {"lasts_s": args["lasts_s"], "wall_survives": False, "clock_set_after_s": 60.0}
        run.later(number * args["every_s"], partial(run.cut_power, cut))


def _tears(what: str) -> Kind:
    def draw(random: Random, world: World) -> Args:
        return {**_draw_cut(random, world), "written_by_then": what, "seed": random.randrange(999)}

    return Kind(draw, lambda run, args: run.cut_power(args), weight=0.5)


def _draw_kill(random: Random, _world: World) -> Args:
    return {"phase": random.choice(PHASES), "restart_s": _log_uniform(random, 0.5, 900.0)}


def _kill(run: Run, args: Args) -> None:
    run.restart_s = args["restart_s"]
    if args["phase"] == "waiting":
        run.kill_now()
        return
    run.fate.kill_at = args["phase"]
    if args["phase"] in PHASES[:2]:
        # It comes at the next start: so there is one.
        run.kill_now()


def _kill_again_and_again(run: Run, args: Args) -> None:
    for number in range(args["times"]):
        run.later(number * args["every_s"], run.kill_now)
    run.restart_s = args["restart_s"]


def _crash(run: Run, args: Args) -> None:
    run.restart_s = args["restart_s"]
    run.fate.crash_at = args["phase"]


def _stall(run: Run, args: Args) -> None:
    run.probes.stalls_s = args["lasts_s"]


# -- clocks -------------------------------------------------------------------------------------


def _draw_step(sign: float) -> Callable[[Random, World], Args]:
    def draw(random: Random, _world: World) -> Args:
        by_s = sign * _log_uniform(random, 3.0, 40 * DAY_S)
        return {"by_s": by_s, "lasts_s": _log_uniform(random, 600.0, 2 * DAY_S)}

    return draw


def _step_clock(run: Run, args: Args) -> None:
    """The clock is set wrong, and later put right; all the while it is said to be set."""
    run.step_wall(args["by_s"])
    run.later(args["lasts_s"], run.set_clock_right)


# -- disk ---------------------------------------------------------------------------------------


def _refuses(code: int) -> Kind:
    def inject(run: Run, args: Args) -> None:
        run.disk.refuses_with = code

        def mend() -> None:
            run.disk.refuses_with = None
            run.disk_mended()

        run.disk_fails()
        run.later(args["lasts_s"], mend)

    return Kind(lambda random, _: _while(random, 60.0, 3 * HOUR_S), inject)


def _slow_disk(run: Run, args: Args) -> None:
    run.disk.is_stuck = True

    def mend() -> None:
        run.disk.is_stuck = False
        run.disk_mended()

    run.disk_fails()
    run.later(args["lasts_s"], mend)


def _locks(to_write: bool) -> Kind:
    def inject(run: Run, args: Args) -> None:
        run.disk.hold(run.journal_path, to_write=to_write)

        def mend() -> None:
            run.disk.release()
            if to_write:
                run.disk_mended()

        if to_write:
            run.disk_fails()
        run.later(args["lasts_s"], mend)

    return Kind(lambda random, _: _while(random, 60.0, 3 * HOUR_S), inject)


# -- people -------------------------------------------------------------------------------------


def _draw_burst(random: Random, world: World) -> Args:
    orders = [draw_order(random, world.span_s) for _ in range(random.randint(6, 15))]
    return {"chamber": random.choice(sorted(world.site["chamber"])), "orders": orders}


def _burst(run: Run, args: Args) -> None:
    for order in args["orders"]:
        run.ask(args["chamber"], order)


def _draw_turn(random: Random, world: World) -> Args:
    chamber = random.choice(sorted(world.site["chamber"]))
    return {
        "chamber": chamber,
        "start": random.random() < 0.5,
        "after_s": random.choice([1.0, 30.0, 100.0, 200.0]),
        "edit": draw_edit(world.site, random) if random.random() < 0.4 else [],
    }


def _turn_round(run: Run, args: Args) -> None:
    """Somebody wants the contrary just after a start, or the same again just after a stop."""

    def turns(duty: Duty) -> None:
        cold = (duty is Duty.COOL) is not args["start"]
        run.ask(args["chamber"], {"what": "SetTarget", "target_c": -1.0 if cold else 30.0})
        if args["edit"]:
            run.edit_site(args["edit"])

    run.when_next(args["chamber"], args["start"], args["after_s"], turns)


def _all_at_once(run: Run, args: Args) -> None:
    for chamber in run.plants:
        run.ask(chamber, {"what": "SetTarget", "target_c": args["target_c"]})


def _force_cold(run: Run, args: Args) -> None:
    """Somebody has the fridge run by hand while the beer is freezing."""
    probe_id = run.probe_id(f"vessel-{args['chamber'][-1]}")
    run.probes.freeze(probe_id, args["temp_c"])
    run.ask(
        args["chamber"], {"what": "OverrideOutput", "duty": "cool", "on": True, "for_s": 4 * HOUR_S}
    )
    run.later(args["lasts_s"], lambda: run.probes.mend(probe_id))


def _some_chamber(random: Random, world: World) -> Args:
    chamber = random.choice(sorted(world.site["chamber"]))
    return {"chamber": chamber, **_while(random, 60.0, 8 * HOUR_S)}


KINDS: Mapping[str, Kind] = {
    "probe: checksum": _breaks(ProbeFault.CHECKSUM),
    "probe: power-on value": _breaks(ProbeFault.POWER_ON_VALUE),
    "probe: unplugged": _breaks(ProbeFault.DISCONNECTED),
    "probe: no answer": _breaks(ProbeFault.NO_ANSWER),
    "probe: silent": _breaks(None),
    "probe: frozen": Kind(_draw_freeze, _freeze),
    "probe: mixed faults": _spoils(
        lambda _, args: mixed(args["seed"]), seed=lambda random: random.randrange(999)
    ),
    "probe: spikes": _spoils(
        _spiky,
        seed=lambda random: random.randrange(999),
        by_c=lambda random: random.choice([-30.0, -8.0, 5.0, 40.0]),
    ),
    "probe: drifts": _spoils(_drifting, rate_c_per_h=lambda random: random.choice([-3.0, 3.0])),
    "probe: fallen out": Kind(_some_probe, _fall_out),
    "probes swapped": Kind(_draw_swap, _swap),
    "relay stuck on": _sticks(True),
    "relay stuck off": _sticks(False),
    "line taken away": Kind(_some_output, _take_line_away),
    "fridge stops cooling": _dies(Duty.COOL),
    "heater fails": _dies(Duty.HEAT),
    "door left open": Kind(_some_chamber, _open_door),
    "power cut": Kind(_draw_cut, lambda run, args: run.cut_power(args), weight=2.0),
    "power flickers": Kind(
        lambda random, _: {
            "times": random.randint(2, 5),
            "every_s": _log_uniform(random, 20.0, 1200.0),
            "lasts_s": _log_uniform(random, 1.0, 60.0),
        },
        _flicker,
    ),
    "boot in the past": Kind(_draw_past, lambda run, args: run.cut_power(args)),
    "torn: unfinished page": _tears("unfinished"),
    "torn: last commit": _tears("commit"),
    "torn: page of the database": _tears("database"),
    "kill": Kind(_draw_kill, _kill, weight=4.0),
    "kill again and again": Kind(
        lambda random, _: {
            "times": random.randint(2, 6),
            "every_s": _log_uniform(random, 10.0, 2400.0),
            "restart_s": 2.0,
        },
        _kill_again_and_again,
    ),
    "exception": Kind(
        lambda random, _: {
            "phase": random.choice(["reading the probes", "driving the relays", "waiting"]),
            "restart_s": _log_uniform(random, 2.0, 300.0),
        },
        _crash,
    ),
    "orderly restart": Kind(
        lambda random, _: {"restart_s": _log_uniform(random, 1.0, 1800.0)},
        lambda run, args: run.restart(args["restart_s"]),
    ),
    "loop stalls": Kind(
        lambda random, _: {"lasts_s": _log_uniform(random, 5.0, 3 * HOUR_S)}, _stall
    ),
    "clock set forward": Kind(_draw_step(1.0), _step_clock),
    "clock set back": Kind(_draw_step(-1.0), _step_clock),
    "disk full": _refuses(FULL),
    "disk read-only": _refuses(READ_ONLY),
    "disk failing": _refuses(FAILING),
    "disk slow": Kind(lambda random, _: _while(random, 10.0, 2 * HOUR_S), _slow_disk),
    "journal locked by a reader": _locks(to_write=False),
    "journal locked by a writer": _locks(to_write=True),
    "site file edited": Kind(
        lambda random, world: {"changes": draw_edit(world.site, random)},
        lambda run, args: run.edit_site(args["changes"]),
        weight=1.5,
    ),
    "site file broken": Kind(
        lambda random, _: _while(random, 60.0, HOUR_S), lambda run, args: run.break_site(args)
    ),
    "second daemon": Kind(lambda *_: {}, lambda run, _: run.start_second()),
    "contradictory commands": Kind(_draw_burst, _burst, weight=1.5),
    "target turned round": Kind(_draw_turn, _turn_round, weight=2.0),
    "all chambers at once": Kind(
        lambda random, _: {"target_c": random.choice([-1.0, 4.0, 24.0, 30.0])}, _all_at_once
    ),
    "cooling forced on a freezing beer": Kind(
        lambda random, world: {
            "chamber": random.choice(sorted(world.site["chamber"])),
            "temp_c": random.choice([-3.0, -1.5]),
            **_while(random, 1800.0, 3 * HOUR_S),
        },
        _force_cold,
        weight=0.5,
    ),
}
"""Beside these: the two days on which clocks are changed (`world.DST`), which no script brings."""

DST = "clocks changed (DST)"


def draw_fault(random: Random, world: World, at_s: float) -> Entry:
    """Draw one fault of any kind that this world can have."""
    names, weights = list(KINDS), [kind.weight for kind in KINDS.values()]
    while True:
        kind = random.choices(names, weights)[0]
        args = KINDS[kind].draw(random, world)
        if args or kind == "second daemon":
            return Entry(at_s, kind, args)
