"""How far one series creeps: models averaged, plateau rates, strain under the loads of its uses."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ratemodel.endurance.time_tables import UNFIT
from ratemodel.errors import Problem
from ratemodel.inference.creep_curves import CreepCurve
from ratemodel.inference.creep_forecast import (
    CreepAverage,
    CreepForecast,
    average_creep,
    forecast_creep,
    plateau_rate,
)
from ratemodel.inference.creep_weights import models_with_weight
from ratemodel.inference.creepfit import usable_models
from ratemodel.inference.from_records import creep_curves
from ratemodel.inference.sherby_dorn import SherbyDorn, sherby_dorn
from ratemodel.records.tables import Series, Use
from ratemodel.records.time_tables import Creep
from ratemodel.shown import Quantity, quantity

DRAWS = 1000
#: How far the forecast goes where no use states a load and a duration, in decades of time.
BEYOND = 1.0
_POINTS = 40


@dataclass(frozen=True)
class CreepRate:
    """Plateau creep rate at one tested load and temperature.

    Attributes
    ----------
    load_N, temperature_K : float
        Condition; the temperature is NaN where not known.
    runs, broke : int
        Specimens held there, and how many of them broke.
    last_time_s : float
        Last reading there.
    rate : Quantity
        Least rate up to that reading in 1/s, by the average of the models.
    reached : bool or None
        Whether the readings of every run had reached their plateau; None where they do not tell.
    """

    load_N: float
    temperature_K: float
    runs: int
    broke: int
    last_time_s: float
    rate: Quantity
    reached: bool | None


@dataclass(frozen=True)
class StrainForecast:
    """Strain under one load.

    Attributes
    ----------
    use : str
        Steady use that states the load and the duration; empty for a tested load.
    forecast : CreepForecast
        At the median load, up to the median duration.
    by_load : tuple of tuple
        Load in N and strain at the last time, at the ends of the use's load; empty where the load
        is one number.
    temperature_origin : str
        Where the temperature of the forecast comes from.
    """

    use: str
    forecast: CreepForecast
    by_load: tuple[tuple[float, Quantity], ...]
    temperature_origin: str

    @property
    def strain(self) -> Quantity:
        """Strain at the last time."""
        f = self.forecast
        return Quantity(float(f.median[-1]), float(f.low[-1]), float(f.high[-1]))


@dataclass(frozen=True)
class CreepResult:
    """Creep of one series.

    Attributes
    ----------
    level : float
        Probability of the intervals.
    average : CreepAverage or None
        Models with their draws; None where none could be fitted.
    left_out : tuple of str
        Titles of the models that explain the readings too badly to weigh anything.
    rates : tuple of CreepRate
        One per tested condition.
    seen : tuple of SherbyDorn
        Creep rate against strain, straight from the readings, of each run that allows it.
    forecasts : tuple of StrainForecast
        One per steady use with a duration, or one at a tested load.
    problems : tuple of Problem
        What limits all this, and what could not be fitted.
    """

    level: float
    average: CreepAverage | None
    left_out: tuple[str, ...]
    rates: tuple[CreepRate, ...]
    seen: tuple[SherbyDorn, ...]
    forecasts: tuple[StrainForecast, ...]
    problems: tuple[Problem, ...]


def creep_result(
    creep: Creep | None,
    series: Series,
    uses: Sequence[Use],
    *,
    level: float,
    rng: np.random.Generator,
) -> CreepResult | None:
    """Creep of a series; None where creep.csv has no run of it.

    Parameters
    ----------
    creep : Creep or None
        As read by `read_creep`.
    series : Series
        The series; the temperature of its break tests serves uses that state none.
    uses : sequence of Use
        Uses of the campaign; those of the series that are steady and last are forecast.
    level : float
        Probability of the intervals.
    rng : numpy.random.Generator
        Source of randomness.
    """
    if creep is None or all(r.series != series.name for r in creep.runs):
        return None
    wanted = [
        u for u in uses if u.series == series.name and {"load", "duration"} <= u.quantities.keys()
        and u.kind == "steady"
    ]  # fmt: skip
    seen: tuple[SherbyDorn, ...] = ()
    found: list[Problem] = []
    try:
        curves = creep_curves(creep, series.name)
        seen, found = _read_rates(curves)
        far = _decades_beyond(curves, wanted)
        worth = models_with_weight(curves, decades_beyond=far, rng=rng)
        out = tuple(m.title for m in usable_models(curves) if m not in worth)
        average = average_creep(curves, draws=DRAWS, rng=rng, models=worth)
        rates = _rates(creep, series.name, curves, average, (seen, level))
        forecasts = _forecasts(average, curves, series, wanted, level)
    except UNFIT as reason:
        found.append(Problem("no-creep-fit", f"creep: {reason}"))
        return CreepResult(level, None, (), (), seen, (), tuple(found))
    if all(r.runs == 1 for r in rates):
        text = (
            "At each load and temperature one specimen was held: how far specimens differ is not "
            "in the creep intervals. Hold three under one of the loads."
        )
        found.append(Problem("one-specimen-per-condition", text))
    told = [p for f in forecasts for p in f.forecast.problems] or [*average.problems]
    problems = {p.message: p for p in (*told, *found)}
    return CreepResult(level, average, out, rates, seen, forecasts, tuple(problems.values()))


def _read_rates(curves: Sequence[CreepCurve]) -> tuple[tuple[SherbyDorn, ...], list[Problem]]:
    """Rates from the readings, and one finding each for runs still slowing down or unreadable."""
    seen = []
    for curve in curves:
        try:
            seen.append(sherby_dorn(curve))
        except UNFIT:
            continue
    falling = sum(not one.plateau_reached for one in seen)
    dumb = len(curves) - len(seen)
    out = []
    if falling:
        text = (
            f"In {falling} of {len(seen)} creep runs the rate was still falling at the last "
            "reading: there it is an upper bound of the plateau. Let the tests run on."
        )
        out.append(Problem("plateau-not-reached", text))
    if dumb:
        text = (
            f"In {dumb} of {len(curves)} creep runs the rate can be read in fewer than three "
            "windows of time; read strain more often."
        )
        out.append(Problem("rate-not-read", text, "note"))
    return tuple(seen), out


def _decades_beyond(curves: Sequence[CreepCurve], uses: Sequence[Use]) -> float:
    last = max((float(c.time_s[-1]) for c in curves), default=np.inf)
    if not uses:
        return BEYOND
    return float(np.log10(max(_middle(u, "duration") for u in uses) / last))


def _rates(
    creep: Creep,
    name: str,
    curves: Sequence[CreepCurve],
    average: CreepAverage,
    read: tuple[Sequence[SherbyDorn], float],
) -> tuple[CreepRate, ...]:
    seen, level = read
    runs = [r for r in creep.runs if r.series == name and np.any(r.time_s > 0)]
    groups: dict[tuple[float, float], list[int]] = {}
    for i, c in enumerate(curves):
        kelvin = float(np.nan_to_num(c.temperature_K, nan=-1.0))
        groups.setdefault((kelvin, c.load_N), []).append(i)
    out = []
    for (kelvin, load), rows in sorted(groups.items()):
        last = max(float(curves[i].time_s[-1]) for i in rows)
        there = (load, kelvin if kelvin > 0 else float("nan"))
        mine = [s.plateau_reached for i in rows for s in seen if s.curve is curves[i]]
        # what lies beyond this condition's own last reading was not seen there
        draws = plateau_rate(replace(average, last_time_s=last), there)
        out.append(
            CreepRate(*there, len(rows), sum(runs[i].broke for i in rows), last,
                      quantity(draws, level), all(mine) if mine else None)
        )  # fmt: skip
    return tuple(out)


def _forecasts(
    average: CreepAverage,
    curves: Sequence[CreepCurve],
    series: Series,
    uses: Sequence[Use],
    level: float,
) -> tuple[StrainForecast, ...]:
    first = min(float(c.time_s[0]) for c in curves)

    def forecast(load: float, kelvin: float, until: float, points: int = _POINTS) -> CreepForecast:
        time = np.geomspace(min(first, until / 10), until, points) if points > 1 else [until]
        return forecast_creep(average, curves, np.asarray(time), (load, kelvin), level=level)

    if not uses:
        ranked = sorted(curves, key=lambda c: (c.load_N, c.temperature_K))
        middle = ranked[(len(ranked) - 1) // 2]
        until = average.last_time_s * 10**BEYOND
        one = forecast(middle.load_N, middle.temperature_K, until)
        return (StrainForecast("", one, (), "as tested"),)
    out = []
    for use in uses:
        kelvin, origin = _temperature(use, curves, series)
        until = _middle(use, "duration")
        one = forecast(_middle(use, "load"), kelvin, until)
        ends = []
        if use.quantities["load"].kind != "fixed":
            tails = np.array([(1 - level) / 2, (1 + level) / 2])
            for load in use.quantities["load"].from_uniform(tails).tolist():
                if load > 0:
                    end = forecast(load, kelvin, until, 1)
                    strain = Quantity(*(float(x[-1]) for x in (end.median, end.low, end.high)))
                    ends.append((load, strain))
        out.append(StrainForecast(use.name, one, tuple(ends), origin))
    return tuple(out)


def _temperature(use: Use, curves: Sequence[CreepCurve], series: Series) -> tuple[float, str]:
    """Temperature (K) of a use: its own, else the tested one nearest to the break tests'."""
    if "temperature" in use.quantities:
        return _middle(use, "temperature"), "of the use"
    tested = np.unique([c.temperature_K for c in curves])
    if not np.isfinite(tested).all():
        return float("nan"), "as tested"
    if tested.size == 1:
        return float(tested[0]), "as tested"
    pulls = series.used.temperature_K[np.isfinite(series.used.temperature_K)]
    aim = float(np.median(pulls)) if pulls.size else 293.15
    nearest = float(tested[np.argmin(np.abs(tested - aim))])
    return nearest, "of the use not stated; of the creep tests, nearest to " + (
        "the break tests" if pulls.size else "20 °C"
    )


def _middle(use: Use, name: str) -> float:
    """Median of a quantity of a use."""
    return float(use.quantities[name].from_uniform(np.array([0.5]))[0])
