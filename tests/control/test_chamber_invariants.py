"""What must never happen to a chamber, whatever happens to it."""

from __future__ import annotations

from chamber_machine import ChamberMachine

TestNothingThatMustNotHappenHappensToAChamber = ChamberMachine.TestCase
