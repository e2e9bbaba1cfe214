"""What a chamber can do to its beer: how fast it cools and warms it, and how far.

Worked out from the thermal model at rest around the beer: a vessel moves by hours, all around it by
minutes. Temperatures in °C, rates in °C a day (positive is warmer).
"""

from __future__ import annotations

from dataclasses import dataclass

from fermd.control.settings import DAY_S, ChamberSettings, Duty
from fermd.physics.thermal import Drive, ThermalModel
from fermd.planning.chamber import PlannedChamber


@dataclass(frozen=True, slots=True)
class Ability:
    """One chamber's."""

    model: ThermalModel
    settings: ChamberSettings

    @staticmethod
    def of(chamber: PlannedChamber) -> Ability:
        """Of the chamber that a batch is planned for."""
        return Ability(ThermalModel(chamber.parts), chamber.settings)

    def drive(self, duty: Duty | None, room_c: float, yeast_w: float) -> Drive:
        """What acts on the chamber with one output on all the time, as far as it has one."""
        on = duty in self.settings.by_duty
        return Drive(
            room_c,
            yeast_w,
            cooling=on and duty is Duty.COOL,
            heating=on and duty is Duty.HEAT,
            # A fan runs along with the others.
            fan=on and duty is not None and Duty.FAN in self.settings.by_duty,
        )

    def rate_c_per_day(
        self, duty: Duty | None, beer_c: float, room_c: float, yeast_w: float
    ) -> float:
        """How fast the beer moves as it passes through `beer_c` with an output on all the time."""
        drive = self.drive(duty, room_c, yeast_w)
        gained_w = self.model.beer_gains_w(self.model.held(drive, beer_c)) + yeast_w
        return gained_w / self.model.moved_j_per_k(drive) * DAY_S

    def furthest_c(self, duty: Duty, room_c: float, yeast_w: float) -> float:
        """Where the beer comes to rest with an output on for ever: the coldest, or the warmest."""
        return self.model.steady(self.drive(duty, room_c, yeast_w)).beer_c

    def working_share(self, duty: Duty) -> float:
        """The share of the time that an output may run: it rests after its longest run."""
        output = self.settings.by_duty.get(duty)
        if output is None:
            return 0.0
        longest_s = output.protection.longest_run_s
        return longest_s / (longest_s + output.protection.rest_s)
