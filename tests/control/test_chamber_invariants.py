"""What must never happen to a chamber, whatever happens to it."""

from __future__ import annotations

import pytest
from chamber_machine import ChamberMachine

pytestmark = pytest.mark.slow

TestNothingThatMustNotHappenHappensToAChamber = ChamberMachine.TestCase
