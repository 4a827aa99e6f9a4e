"""One call for the whole job: a campaign in, every result of every series and use case out."""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from ratemodel.archive import ArchiveRow, Score, fit_archive
from ratemodel.arrays import FloatArray
from ratemodel.endurance import (
    CreepResult,
    PreloadResult,
    TimeTables,
    creep_result,
    preload_result,
    read_time_tables,
)
from ratemodel.errors import Problem
from ratemodel.inference.average import Settings, fit_rate
from ratemodel.inference.data import rate_data
from ratemodel.inference.diagnostics import Diagnostics, diagnose
from ratemodel.inference.from_records import lives
from ratemodel.inference.ratefit import Curve, RateFit
from ratemodel.inference.sensitivity import Sensitivity, sensitivity
from ratemodel.limits import FailureProbability, Limits, failure_probability, working_load_limits
from ratemodel.lives import HeldLoad, ShockDamage, fit_lives, held_load, shock_damage
from ratemodel.margin import Dominance, margin_shares
from ratemodel.planning import NextTest, next_test
from ratemodel.recorded import recorded_curve
from ratemodel.records.tables import Campaign
from ratemodel.screening import ScreeningFinding, screen
from ratemodel.showing import Shown
from ratemodel.steps import Explanation, explain
from ratemodel.translation import UseStrength, translate
from ratemodel.words import cautions

POINTS_PER_DECADE = 8
#: Products from which on a campaign is also read as an archive.
ARCHIVE_PRODUCTS = 5
#: Joint draws of a law of life.
LIFE_DRAWS = 4000


@dataclass(frozen=True)
class SeriesResult:
    """Strength against rate of one series: fit, curve, and what screening and checks found.

    ``preload`` and ``creep`` are there where cycling.csv and creep.csv have rows of the series.
    """

    fit: RateFit
    curve: Curve
    screening: tuple[ScreeningFinding, ...]
    diagnostics: Diagnostics
    preload: PreloadResult | None = None
    creep: CreepResult | None = None


@dataclass(frozen=True, repr=False)
class UseResult(Shown):
    """One use case carried through to its limits.

    ``shares`` are those of ``dominance``, scaled to add up to one. ``held`` and ``damage`` are
    there where the series has lives under load: a steady load's life, and the damage of shocks.
    ``failure`` is the one by the law of life where there is one for a steady load.
    """

    strength: UseStrength
    explanation: Explanation
    limits: Limits
    failure: FailureProbability | None
    shares: tuple[tuple[str, float], ...]
    sensitivity: Sensitivity
    dominance: Dominance
    held: HeldLoad | None = None
    damage: ShockDamage | None = None
    problems: tuple[Problem, ...] = ()


@dataclass(frozen=True)
class SharedResult:
    """What the products of a campaign say of each other: strengths, and the check on itself."""

    rows: tuple[ArchiveRow, ...]
    score: Score
    problems: tuple[Problem, ...]


@dataclass(frozen=True, repr=False)
class Analysis(Shown):
    """Everything `analyse` found, in the order of the campaign.

    ``cautions`` stand wherever a strength or a limit of this analysis is shown.
    """

    campaign: Campaign
    seed: int
    settings: Settings
    series: tuple[SeriesResult, ...]
    uses: tuple[UseResult, ...]
    next_test: NextTest | None
    cautions: tuple[str, ...]
    problems: tuple[Problem, ...] = field(default_factory=tuple)
    shared: SharedResult | None = None


def analyse(campaign: Campaign, *, rates: Sequence[float] = (), seed: int = 0,
            settings: Settings | None = None) -> Analysis:  # fmt: skip
    """Fit every series, carry every use case through, and say what to test next.

    Parameters
    ----------
    campaign : Campaign
        As read by `read_campaign`.
    rates : sequence of float
        Strain rates (1/s) at which the curves are wanted exactly, beside the grid.
    seed : int
        Seed of all random numbers; the same seed gives the same answer on one platform.
    settings : Settings, optional
        Draws, level, bound, models.
    """
    settings = settings or Settings()
    fits = {
        name: fit_rate(series, rng=_stream(seed, "series", name), settings=settings,
                       options=campaign.options, sha256=campaign.sha256)
        for name, series in campaign.series.items()
    }  # fmt: skip
    tables = read_time_tables(campaign)
    uses = tuple(
        _use(fits[use.series], use.name, (campaign, tables), seed)
        for use in campaign.use.values()
    )  # fmt: skip
    results = tuple(
        SeriesResult(
            fit,
            fit.curve(grid(fit, _wanted(fit, uses, rates))),
            screen(fit.series.used),
            diagnose(fit, rng=_stream(seed, "checks", name)),
            *_endurance(fit, campaign, tables, seed),
        )
        for name, fit in fits.items()
    )
    tests = sum(len(s.used) for s in campaign.series.values())
    plan = next_test(fits, [u.strength for u in uses], campaign.options)
    problems = tuple(p for r in results for p in (*r.fit.problems, *r.diagnostics.problems))
    problems += tuple(
        p for u in uses for p in (*u.strength.problems, *u.problems, *u.sensitivity.problems)
    )
    problems += _not_told(problems, results, tables)
    shared = _shared(campaign, [float(np.median(u.strength.u)) for u in uses], seed)
    return Analysis(campaign, seed, settings, results, uses, plan, tuple(cautions(tests)),
                    problems, shared)  # fmt: skip


def _shared(campaign: Campaign, wanted: Sequence[float], seed: int) -> SharedResult | None:
    """The joint model of all products, where there are enough of them to share anything.

    Five products, at least two of them at two speeds or more. Strength is given at the slowest
    and the fastest rate tested on any of them and at every use's rate.
    """
    series = tuple(campaign.series.values())
    speeds = [rate_data(s) for s in series]
    if len(series) < ARCHIVE_PRODUCTS or sum(d.rates.size > 1 for d in speeds) < 2:
        return None
    rng = _stream(seed, "archive", "all products")
    archive = fit_archive(campaign, rng=rng)
    ends = [min(float(d.u.min()) for d in speeds), max(float(d.u.max()) for d in speeds)]
    rates = sorted({float(f"{10**u:.4g}") for u in (*ends, *wanted)})
    return SharedResult(
        archive.table(rates, rng=rng), archive.leave_one_out(rng=rng), archive.problems
    )


def _endurance(fit: RateFit, campaign: Campaign, tables: TimeTables, seed: int
               ) -> tuple[PreloadResult | None, CreepResult | None]:  # fmt: skip
    """Preload cycling and creep of a series, each with random numbers of its own."""
    series, level = fit.series, fit.level
    uses = tuple(campaign.use.values())
    return (
        preload_result(tables.cycling, series, level=level,
                       rng=_stream(seed, "preload", series.name)),
        creep_result(tables.creep, series, uses, level=level,
                     rng=_stream(seed, "creep", series.name)),
    )  # fmt: skip


def _not_told(told: Sequence[Problem], results: Sequence[SeriesResult], tables: TimeTables
              ) -> tuple[Problem, ...]:  # fmt: skip
    """Serious findings on cycling and creep; the others stand with their series."""
    found = [*tables.cycling_problems, *tables.creep_problems]
    for r in results:
        found += r.preload.problems if r.preload is not None else ()
        found += r.creep.problems if r.creep is not None else ()
    return tuple(p for p in found if p.severity == "serious" and p not in told)


def _use(fit: RateFit, name: str, known: tuple[Campaign, TimeTables], seed: int) -> UseResult:
    campaign, tables = known
    use = campaign.use[name]
    rng = _stream(seed, "use", name)
    strength = translate(fit, use, rng=rng, curve=recorded_curve(campaign, use))
    explanation = explain(strength, rng=rng)
    held, damage, found = _under_load(strength, tables, _stream(seed, "lives", name))
    limits = working_load_limits(strength, held)
    failure = held.failure if held is not None else failure_probability(strength, rng=rng)
    dominance = margin_shares(strength, rng=_stream(seed, "shares", name))
    problems = (*found, *limits.problems, *(failure.problems if failure is not None else ()))
    problems += damage.problems if damage is not None else ()
    return UseResult(
        strength, explanation, limits, failure, dominance.shares,
        sensitivity(fit, float(np.median(strength.u)), rng=rng), dominance, held, damage, problems,
    )  # fmt: skip


def _under_load(
    strength: UseStrength, tables: TimeTables, rng: np.random.Generator
) -> tuple[HeldLoad | None, ShockDamage | None, tuple[Problem, ...]]:
    """What creep rupture tests of the series say of a steady use or of shocks in a life."""
    shocks = "shocks" in strength.use.quantities
    if strength.event.peak_force_N is None or not (strength.use.kind == "steady" or shocks):
        return None, None, ()
    creep = tables.creep
    if tables.creep_problems:
        return None, None, tables.creep_problems
    if creep is None or all(r.series != strength.use.series for r in creep.runs):
        return None, None, ()
    draws = min(strength.mean_ln.size, LIFE_DRAWS)
    mixture, found = fit_lives(lives(creep, strength.use.series), draws, rng)
    if mixture is None:
        return None, None, found
    damage = shock_damage(strength, mixture) if shocks else None
    return held_load(strength, mixture), damage, found


def _stream(seed: int, kind: str, name: str) -> np.random.Generator:
    """A stream of its own for each series and use, so that adding one changes no other."""
    return np.random.default_rng([seed, zlib.crc32(f"{kind}/{name}".encode())])


def _wanted(fit: RateFit, uses: Sequence[UseResult], rates: Sequence[float]) -> FloatArray:
    """log10 rates a curve must reach: those asked for and every use's central rates."""
    out = [float(np.log10(r)) for r in rates]
    for use in uses:
        if use.strength.fit is fit:
            out += [float(q) for q in np.quantile(use.strength.u, [0.05, 0.5, 0.95])]
    return np.array(out)


def grid(fit: RateFit, wanted: FloatArray) -> FloatArray:
    """log10 rates of a curve: tested rates, wanted rates and at least 8 points a decade."""
    low = min([float(fit.data.u.min()), *wanted.tolist()])
    high = max([float(fit.data.u.max()), *wanted.tolist()])
    count = int(np.ceil((high - low) * POINTS_PER_DECADE)) + 1
    even = np.linspace(low, high, max(count, 2)) if high > low else np.array([low])
    return np.unique(np.concatenate([even, fit.data.rates, wanted]))


__all__ = ["Analysis", "SeriesResult", "UseResult", "analyse", "grid"]
