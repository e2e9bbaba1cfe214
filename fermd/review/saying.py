"""The words of a review that the text and the page share."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from fermd.control.wording import Unit, difference, span, temperature
from fermd.review.causes.excursions import Excursion
from fermd.review.fermentation_heat import FermentationHeat
from fermd.review.output_figures import OutputFigures
from fermd.review.reviewing import Review
from fermd.review.step_figures import StepFigures

DUTIES = {"cool": "cooling", "heat": "heating", "fan": "fan"}

UNKNOWN = "–"


def clock(review: Review, at_s: float, form: str = "%d %b %H:%M") -> str:
    """A moment by the brewer's clock."""
    try:
        return datetime.fromtimestamp(at_s, review.wishes.zone).strftime(form)
    except (OverflowError, ValueError, OSError):
        return "at no known time"


def since(review: Review, at_s: float) -> str:
    """A moment as hours since the start: "31 h"."""
    return f"{review.hours(at_s):.0f} h"


def share(value: float | None, digits: int = 0) -> str:
    """A share as a percentage; never 100 % if it is less."""
    if value is None:
        return UNKNOWN
    if value < 1.0 and round(100.0 * value, digits) >= 100.0:
        return "over 99 %" if digits == 0 else "over 99.9 %"
    return f"{100.0 * value:.{digits}f} %"


def head(review: Review) -> str:
    """What is reviewed: "batch 3, chamber lager: 06 Mar 18:02 to 30 Mar 19:01, 24 d, running"."""
    course = review.course
    what = "" if review.batch is None else f"batch {review.batch.number}, "
    form = "%d %b %Y %H:%M"
    words = (
        f"{what}chamber {course.chamber}: {clock(review, course.start_s, form)} to "
        f"{clock(review, course.end_s, form)}, {span(course.lasted_s)}"
    )
    if review.batch is not None and review.batch.is_running:
        words += ", not ended yet"
    return words


def held(review: Review, unit: Unit) -> str:
    """How long the beer was in band."""
    holding = review.holding
    if holding.in_band_share is None:
        return "no target was set while the beer was known"
    words = (
        f"{share(holding.in_band_share, 1)} of {holding.with_target_h:.0f} h within "
        f"{difference(holding.band_c, unit)} of the target"
    )
    if holding.mean_error_c is not None:
        # Two digits, with a sign: on which side of the target it lay.
        side = "above" if holding.mean_error_c >= 0 else "below"
        words += f", in the mean {difference(abs(holding.mean_error_c), unit, 2)} {side} it"
    return words


def extremes(review: Review, unit: Unit) -> str:
    """The coldest and the warmest that the vessel probe read."""
    holding = review.holding
    if holding.coldest_c is None or holding.warmest_c is None:
        return "nothing is known of it"
    return (
        f"{temperature(holding.coldest_c, unit)} at {since(review, holding.coldest_at_s or 0.0)} "
        f"to {temperature(holding.warmest_c, unit)} at {since(review, holding.warmest_at_s or 0.0)}"
    )


def degree_hours(review: Review, unit: Unit) -> str:
    """The degree-hours above the limit that was asked for; empty without one."""
    holding = review.holding
    if holding.limit_c is None or holding.above_limit_ch is None:
        return ""
    return (
        f"{difference(holding.above_limit_ch, unit)} h above {temperature(holding.limit_c, unit)}, "
        f"in {holding.above_limit_h or 0.0:.1f} h"
    )


def excursion(one: Excursion, unit: Unit) -> str:
    """One excursion: how far, how long, why."""
    side = "above" if one.worst_off_c > 0 else "below"
    if one.of_the_probe:
        return (
            f"the probe read up to {difference(abs(one.worst_off_c), unit)} {side} the target for "
            f"{span(one.lasted_s)}, and what the beer was is not known: {one.words}"
        )
    return (
        f"{difference(abs(one.worst_off_c), unit)} {side} its target, {span(one.lasted_s)} out of "
        f"band: {one.words}"
    )


def step_cells(review: Review, step: StepFigures, unit: Unit) -> tuple[str, ...]:
    """Name, start, target, arrival, overshoot, settling and share in band of a step."""
    target = UNKNOWN if step.target_c is None else temperature(step.target_c, unit)
    over = UNKNOWN if step.overshoot_c is None else difference(step.overshoot_c, unit, 2)
    return (
        f"{step.name} ({step.kind})" if step.kind not in step.name else step.name,
        since(review, step.start_s),
        target,
        _after(step.arrived_after_s, "never"),
        over,
        _after(step.settled_after_s, "did not"),
        share(step.in_band_share),
    )


STEP_HEADS = ("step", "from", "target", "in band after", "overshoot", "settled after", "in band")


def _after(seconds: float | None, never: str) -> str:
    if seconds is None:
        return never
    return "at once" if seconds < 300.0 else span(60.0 * round(seconds / 60.0))


def output(one: OutputFigures) -> str:
    """What one output did."""
    words = (
        f"{_count(one.starts, 'start')}, at most {one.most_starts_in_an_hour} in an hour; "
        f"{one.on_h:.1f} h on, duty cycle {share(one.duty_cycle, 1)}"
    )
    if one.shortest_off_s is not None:
        words += f"; shortest off {span(one.shortest_off_s)}"
    if one.shortest_run_s is not None:
        words += f"; shortest run {span(one.shortest_run_s)}"
    if one.kwh is not None:
        words += f"; {one.kwh:.2f} kWh at {one.watts:g} W"
    if one.cost is not None:
        words += f", cost {one.cost:.2f}"
    return words


def energy(review: Review) -> str:
    """Energy and cost of all outputs whose watts are known; what is missing is named."""
    told = [one for one in review.outputs if one.kwh is not None]
    missing = [one.output for one in review.outputs if one.kwh is None]
    if not told:
        return (
            "not known: the journal has no watts; say them, such as "
            f"--watts {missing[0] if missing else 'fridge'}=90"
        )
    words = f"{sum(one.kwh or 0.0 for one in told):.2f} kWh"
    if all(one.cost is not None for one in told):
        words += f", cost {sum(one.cost or 0.0 for one in told):.2f}"
    return words + (f" (without {', '.join(missing)})" if missing else "")


def heat(review: Review, found: FermentationHeat, unit: Unit) -> list[str]:
    """The heat of fermentation, a sentence each."""
    if found.why:
        return [f"no estimate: {found.why}"]
    total_c, error_c = found.total_c or 0.0, found.total_error_c or 0.0
    percent = 100.0 * error_c / max(1e-9, total_c)
    first = f"{found.total_kj_per_l or 0.0:.0f} kJ a litre, ± {percent:.0f} %"
    if found.total_kj is not None:
        first = f"{found.total_kj:.0f} kJ ({first})"
    lines = [
        f"{first}: as much as {found.sugar_g_per_l or 0.0:.0f} g of sugar a litre give",
        f"began about {since(review, found.begun_s or 0.0)}, "
        f"peak about {since(review, found.peak_s or 0.0)}"
        + (
            f" with {found.peak_w:.1f} W"
            if found.peak_w is not None
            else f" with {difference(24.0 * (found.peak_c_per_h or 0.0), unit)} a day"
        )
        + f", over about {since(review, found.over_s or 0.0)}",
    ]
    if found.follows_within_h is not None:
        lines.append(f"the beer follows the air within {found.follows_within_h:.0f} h")
    return lines


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def name_of(review: Review) -> str:
    """A short name for one of several."""
    if review.batch is None:
        return f"{review.course.chamber} from {clock(review, review.course.start_s)}"
    return f"batch {review.batch.number} ({review.batch.profile})"


def compared(
    reviews: Sequence[Review], unit: Unit
) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """The figures of several batches side by side: heads and rows."""
    heads = ("", *(_short(one) for one in reviews))
    cells = [_cells(one, unit) for one in reviews]
    names = list(cells[0])
    return heads, [(name, *(one[name] for one in cells)) for name in names]


def _short(review: Review) -> str:
    return review.course.chamber if review.batch is None else f"batch {review.batch.number}"


def _cells(review: Review, unit: Unit) -> dict[str, str]:
    holding, found = review.holding, review.heat

    def or_not(value: float | None) -> str:
        return UNKNOWN if value is None else temperature(value, unit)

    def of(duty: str) -> tuple[float, int]:
        ours = [one for one in review.outputs if one.duty == duty]
        return sum(one.on_h for one in ours), sum(one.starts for one in ours)

    kwh = [one.kwh for one in review.outputs if one.kwh is not None]
    of_beer = [one for one in review.excursions if not one.of_the_probe]
    worst = max((abs(one.worst_off_c) for one in of_beer), default=None)
    return {
        "chamber": review.course.chamber,
        "pitched": clock(review, review.course.start_s, "%d %b %Y"),
        "lasted": span(review.course.lasted_s),
        "in band": share(holding.in_band_share, 1),
        "coldest": or_not(holding.coldest_c),
        "warmest": or_not(holding.warmest_c),
        "excursions": str(len(of_beer)),
        "worst": UNKNOWN if worst is None else difference(worst, unit),
        "cooling": f"{of('cool')[0]:.0f} h, {of('cool')[1]} starts",
        "heating": f"{of('heat')[0]:.0f} h, {of('heat')[1]} starts",
        "energy": f"{sum(kwh):.1f} kWh" if kwh else UNKNOWN,
        "heat a litre": UNKNOWN if found.why else f"{found.total_kj_per_l or 0.0:.0f} kJ",
        "peak of heat": UNKNOWN if found.why else since(review, found.peak_s or 0.0),
        "outages": str(len(review.absences)),
    }
