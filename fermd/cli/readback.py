"""A chamber's status as it came over the socket, turned back into the core's own values.

Needed for °F: the daemon words everything in °C, so the words are made again from its numbers by
the same `wording`. Times are counted from the moment of the answer, which is 0 here.
"""

from __future__ import annotations

import os
from typing import Any, Final

from fermd.cli.exits import Failure
from fermd.control import wording
from fermd.control.bands import Call
from fermd.control.decision import Decision, Mode, OutputDecision
from fermd.control.knowledge import Knowledge, KnownSide
from fermd.control.placing import Placing
from fermd.control.reading import ProbeFault, Reading, Trusted, Untrusted
from fermd.control.reasons import Reason, Rule
from fermd.control.settings import Duty, ForesightSettings
from fermd.control.steps import Target
from fermd.control.wording import Unit

NOW_S: Final = 0.0

Plain = dict[str, Any]


def worded(chamber: Plain, unit: Unit) -> Plain:
    """Return the same chamber with every sentence in this unit.

    Raises Failure if it is of a version that says what this one does not know.
    """
    if unit is Unit.CELSIUS:
        return chamber
    try:
        decision = decision_of("", chamber)
    except (KeyError, TypeError, ValueError) as error:
        raise Failure(
            f"the daemon says what this version does not know ({error}): bring both to the same "
            "version, or leave out --fahrenheit",
            os.EX_PROTOCOL,
        ) from error
    outputs = [
        plain | {"words": wording.output(output, NOW_S, unit)}
        for plain, output in zip(chamber["outputs"], decision.outputs, strict=True)
    ]
    return chamber | {
        "target_words": wording.target(decision.target, unit),
        "vessel": worded_reading(chamber["vessel"], unit),
        "air": None if chamber["air"] is None else worded_reading(chamber["air"], unit),
        "watching": {
            name: worded_reading(plain, unit) for name, plain in chamber["watching"].items()
        },
        "call_words": wording.call(decision, NOW_S, unit),
        "outputs": outputs,
        "learned_words": wording.known_of(_knowledge(chamber["learned"]), unit),
    }


def worded_reading(plain: Plain, unit: Unit) -> Plain:
    """Return the same reading with its words in this unit."""
    return plain | {"words": wording.reading(_reading(plain), NOW_S, unit)}


def decision_of(name: str, chamber: Plain) -> Decision:
    """Return the decision that a chamber's status tells of; without profile, alarms and events."""
    target = chamber["target"]
    air = chamber["air"]
    return Decision(
        chamber=name,
        mode=Mode(chamber["mode"]),
        target=None if target is None else Target(target["heat_c"], target["cool_c"]),
        call=Call(chamber["call"]),
        call_reason=_reason(chamber["call_reason"]),
        edges=None,
        vessel=_reading(chamber["vessel"]),
        air=None if air is None else _reading(air),
        watching=tuple((key, _reading(seen)) for key, seen in chamber["watching"].items()),
        outputs=tuple(_output(plain) for plain in chamber["outputs"]),
        outlook=None,
        planned=None,
        learned={},
        placing=Placing(),
        foresight=ForesightSettings(),
        alarms=(),
        events=(),
    )


def _knowledge(plain: Plain) -> Knowledge:
    sides = tuple(KnownSide(**side | {"duty": Duty(side["duty"])}) for side in plain["sides"])
    return Knowledge(**plain | {"sides": sides})


def _reading(plain: Plain) -> Reading:
    age_s = plain["age_s"]
    if plain["trusted"]:
        return Trusted(plain["temp_c"], NOW_S - age_s)
    last_mono_s = None if age_s is None else NOW_S - age_s
    return Untrusted(ProbeFault(plain["fault"]), NOW_S, plain["last_temp_c"], last_mono_s)


def _reason(plain: Plain) -> Reason:
    left_s = plain["left_s"]
    return Reason(
        Rule(plain["rule"]),
        plain["value_c"],
        plain["limit_c"],
        None if left_s is None else NOW_S + left_s,
        plain["number"],
    )


def _output(plain: Plain) -> OutputDecision:
    for_s = plain["for_s"]
    return OutputDecision(
        Duty(plain["duty"]),
        plain["name"],
        plain["line"],
        plain["on"],
        plain["wanted"],
        None if for_s is None else NOW_S - for_s,
        tuple(_reason(reason) for reason in plain["reasons"]),
    )
