"""The review of a batch: all figures of one chamber over a span, as one value."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, tzinfo
from pathlib import Path

from fermd.review.absences import Absence, Note, absences, notes
from fermd.review.batches import Batch
from fermd.review.believed import believed
from fermd.review.causes.cause import Disturbance
from fermd.review.causes.disturbances import disturbances, held_by_limits
from fermd.review.causes.excursions import Excursion, excursions
from fermd.review.course import Course
from fermd.review.fermentation_heat import FermentationHeat, fermentation_heat
from fermd.review.figures import IN_BAND_C
from fermd.review.holding import Holding, hold_figures
from fermd.review.output_figures import OutputFigures, output_figures
from fermd.review.probe_figures import ProbeFigures, probe_figures
from fermd.review.series import Series
from fermd.review.step_figures import StepFigures, step_figures


@dataclass(frozen=True, slots=True, kw_only=True)
class Wishes:
    """What whoever asks for a review says beside the journal."""

    band_c: float = IN_BAND_C
    """Nearer to the target than this counts as held, °C; above 0."""
    limit_c: float | None = None
    """Degree-hours above this are counted, °C."""
    watts: Mapping[str, float] = field(default_factory=dict)
    """Electrical power by the output's name, W: the journal does not know it."""
    price_per_kwh: float | None = None
    volume_l: float | None = None
    """Beer in the vessel, l: gives the heat of fermentation in watts."""
    zone: tzinfo = UTC
    """Of the brewer's calendar."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Review:
    """Everything that is to be said of a batch, or of another span."""

    journal: Path
    batch: Batch | None
    """None: a span that is no batch."""
    course: Course
    beer: Series | None
    """The vessel's readings but for those that its probe took of something else."""
    wishes: Wishes
    holding: Holding
    steps: tuple[StepFigures, ...]
    excursions: tuple[Excursion, ...]
    """In the order of time."""
    disturbances: tuple[Disturbance, ...]
    outputs: tuple[OutputFigures, ...]
    probes: tuple[ProbeFigures, ...]
    absences: tuple[Absence, ...]
    notes: tuple[Note, ...]
    heat: FermentationHeat

    @property
    def title(self) -> str:
        """What it is about, in a few words."""
        if self.batch is None:
            return f"{self.course.chamber}, a span"
        return f"{self.batch.profile}"

    def hours(self, at_s: float) -> float:
        """A moment as hours since the start (since pitching, for a batch)."""
        return (at_s - self.course.start_s) / 3600.0

    @property
    def worst(self) -> tuple[Excursion, ...]:
        """The excursions, the worst (by area outside the band) first."""
        return tuple(sorted(self.excursions, key=lambda one: -one.degree_hours))


def review_of(
    course: Course, journal: Path, batch: Batch | None = None, wishes: Wishes | None = None
) -> Review:
    """Review a course."""
    asked = wishes or Wishes()
    heat = fermentation_heat(course, asked.volume_l)
    disturbed = disturbances(course)
    known = believed(course, disturbed)
    return Review(
        journal=journal,
        batch=batch,
        course=course,
        beer=known.vessel,
        wishes=asked,
        holding=hold_figures(known, asked.band_c, asked.limit_c),
        steps=step_figures(known, asked.band_c),
        excursions=excursions(
            course, asked.band_c, (*disturbed, *held_by_limits(course)), heat.peak_s, known.vessel
        ),
        disturbances=disturbed,
        outputs=output_figures(course, asked.zone, asked.watts, asked.price_per_kwh),
        probes=probe_figures(course),
        absences=absences(course),
        notes=notes(course),
        heat=heat,
    )
