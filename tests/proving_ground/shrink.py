"""Makes the script of a failing world short: delta debugging over its faults and commands.

The algorithm is ddmin (A. Zeller, R. Hildebrandt, "Simplifying and Isolating Failure-Inducing
Input", IEEE Transactions on Software Engineering 28(2), 2002), from memory: ever smaller parts are
left out, and what is left is taken if it still fails in the same way.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from checks import prove
from script import Entry, Script
from world import World


@dataclass(frozen=True, slots=True)
class Shrunk:
    """What is left of a script."""

    script: Script
    numbers: tuple[int, ...]
    """Which entries of the whole script these are, counted from 0."""
    worlds: int
    """How many worlds it took."""


def shrink(world: World, promise: str, most_worlds: int = 200) -> Shrunk:
    """Return a script as short as can be found that still breaks this promise.

    A script of which no entry can be left out is found, unless `most_worlds` are used up before.
    """
    tried = 0

    def fails(numbers: tuple[int, ...]) -> bool:
        nonlocal tried
        if tried >= most_worlds:
            return False
        tried += 1
        part = _until_last(world, tuple(world.script[number] for number in numbers))
        _, broken = prove(part)
        return any(one.promise == promise for one in broken)

    numbers = ddmin(tuple(range(len(world.script))), fails)
    return Shrunk(tuple(world.script[number] for number in numbers), numbers, tried)


def ddmin(whole: tuple[int, ...], fails: Callable[[tuple[int, ...]], bool]) -> tuple[int, ...]:
    """Return a part of `whole` that fails and of which no single member can be left out."""
    if fails(()):
        return ()
    parts = 2
    while len(whole) > 1:
        size = -(-len(whole) // parts)
        chunks = [whole[start : start + size] for start in range(0, len(whole), size)]
        for chunk in chunks:
            rest = tuple(number for number in whole if number not in chunk)
            if fails(rest):
                whole, parts = rest, max(parts - 1, 2)
                break
        else:
            if parts >= len(whole):
                break
            parts = min(len(whole), 2 * parts)
    return whole


def _until_last(world: World, script: tuple[Entry, ...]) -> World:
    """The world with this script; its span stays, because what is broken may come days later."""
    return replace(world, script=script)
