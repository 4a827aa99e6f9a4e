"""A load held, or shocks repeated, for a service life: what lives under load say of it.

All rests on a law of life fitted to creep rupture tests of the same product. A use's strength
factors (termination, wear, length, temperature where the law takes none) act as a higher load: a
line whose strength is f times that of the tested specimens lives as they do under load / f.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from ratemodel.arrays import FloatArray, IntArray
from ratemodel.errors import NotIdentifiedError, Problem
from ratemodel.inference.life import LifeData, LifeDistribution, standard_quantile
from ratemodel.inference.life_bounds import LifeDraws, LifeMixture, average_life, beyond_tested
from ratemodel.odds import FailureProbability, summarised
from ratemodel.translation import UseStrength
from ratemodel.words import CAUTION

_WAVE = 64  # straight pieces of half a sine
_STATES = 400
_EVENTS = 256


@dataclass(frozen=True)
class HeldLoad:
    """A steady use judged by the law of life.

    Attributes
    ----------
    duration_s : float
        Service life asked for (median).
    life_s : tuple of float
        Median and interval, at the fit's level, of a typical line's life at the use's load.
    lower_life_s : float
        ``fraction`` of all lines live longer, with ``confidence``, the load's spread included.
    working_load_N : float
        Highest load whose lower bound on life lies beyond the service life; never above the
        highest tested load times the use's factors.
    working_load_interval_N : tuple of float
        Over the joint draws, at the fit's level.
    failure : FailureProbability
        Of breaking within the service life.
    fraction, confidence : float
        Of the bounds.
    caution : str
    problems : tuple of Problem
    """

    duration_s: float
    life_s: tuple[float, float, float]
    lower_life_s: float
    working_load_N: float
    working_load_interval_N: tuple[float, float]
    failure: FailureProbability
    fraction: float
    confidence: float
    caution: str
    problems: tuple[Problem, ...]


@dataclass(frozen=True)
class ShockDamage:
    """What shocks take off a line by linear damage.

    Attributes
    ----------
    per_shock : tuple of float
        Median and interval of the damage of one shock to a typical line; 1 is a break.
    shocks : float
        Number in a life (median), NaN where the use states none.
    in_life : tuple of float
        Median and interval of the damage of them all.
    lower_count : float
        Shocks that ``fraction`` of all lines bear, with ``confidence``.
    fraction, confidence : float
    problems : tuple of Problem
    """

    per_shock: tuple[float, float, float]
    shocks: float
    in_life: tuple[float, float, float]
    lower_count: float
    fraction: float
    confidence: float
    problems: tuple[Problem, ...]


def fit_lives(data: LifeData, draws: int, rng: np.random.Generator
              ) -> tuple[LifeMixture | None, tuple[Problem, ...]]:  # fmt: skip
    """Laws of life averaged, or None with the finding that says why there are none."""
    try:
        return average_life(data, draws=draws, rng=rng), ()
    except NotIdentifiedError as error:
        return None, (Problem("no-law-of-life", f"creep rupture: {error}"),)


def held_load(strength: UseStrength, lives: LifeMixture) -> HeldLoad | None:
    """Life at the load of a steady use, and the load that lasts its service life.

    None for another kind of use, or one without a duration.
    """
    event = strength.event
    if event.kind != "steady" or event.peak_force_N is None or event.duration_s is None:
        return None
    bound = strength.fit.bound
    rows = _Rows.of(strength, lives)
    weak = _standard(1 - bound.fraction, lives)
    middle = rows.ln_life(event.peak_force_N, _standard(0.5, lives))
    short = rows.ln_life(event.peak_force_N, weak)
    tails = _tails(strength)
    median, low, high = (float(np.exp(q)) for q in np.quantile(middle, [0.5, *tails]))
    loads = rows.load_for(np.log(event.duration_s), weak)
    working = float(np.quantile(loads, 1 - bound.confidence))
    ends = np.quantile(loads, tails)
    typical = np.array([float(np.median(event.peak_force_N / rows.factor))])
    return HeldLoad(
        duration_s=float(np.median(event.duration_s)),
        life_s=(median, low, high),
        lower_life_s=float(np.exp(np.quantile(short, 1 - bound.confidence))),
        working_load_N=working,
        working_load_interval_N=(float(ends[0]), float(ends[1])),
        failure=_odds_of_breaking(rows, event.peak_force_N, event.duration_s, strength.fit.level),
        fraction=bound.fraction,
        confidence=bound.confidence,
        caution=CAUTION,
        problems=(*lives.problems, *beyond_tested(typical, lives.load_range_N), *rows.problems),
    )


def shock_damage(strength: UseStrength, lives: LifeMixture) -> ShockDamage | None:
    """Linear damage of the shocks of a use, each taken as half a sine of force.

    The half sine has the event's peak force and rises to it in its time to peak. None for a use
    without shocks.
    """
    event = strength.event
    if event.peak_force_N is None or event.time_to_peak_s is None:
        return None
    rows = _Rows.of(strength, lives)
    phase = np.sin(np.linspace(0.0, np.pi, _WAVE + 1))
    force = (event.peak_force_N / rows.factor)[:, None]
    ln_rate = rows.ln_mean_rate(force * phase[:-1], force * phase[1:])
    top = ln_rate.max(axis=1, keepdims=True)
    step = 2 * event.time_to_peak_s / _WAVE
    ln_damage = np.log(np.exp(ln_rate - top).sum(axis=1)) + top[:, 0] + np.log(step)
    count = event.inputs.get("shocks")
    number = np.full(ln_damage.size, np.nan) if count is None else count
    bound, tails = strength.fit.bound, _tails(strength)
    # A line that lives exp(s e) times as long as the typical one takes as much less damage.
    weakest = _standard(1 - bound.fraction, lives)[rows.owner] * rows.scale
    ln_count = weakest - ln_damage
    typical = np.array([float(np.median(force))])
    above = lives.load_range_N[1]
    problems = [*lives.problems, *beyond_tested(typical, lives.load_range_N), *rows.problems]
    problems.append(Problem(
        "shock-damage-by-law",
        "the damage of a shock rests on the law of life at times of milliseconds, where no life "
        f"was measured, and loads {'above' if typical[0] > above else 'within'} those tested; "
        "heat, abrasion and bedding-in are not in it"))  # fmt: skip
    median, low, high = (float(np.exp(q)) for q in np.quantile(ln_damage, [0.5, *tails]))
    total = np.quantile(np.exp(ln_damage) * number, [0.5, *tails])
    return ShockDamage(
        (median, low, high),
        float(np.median(number)),
        (float(total[0]), float(total[1]), float(total[2])),
        float(np.exp(np.quantile(ln_count, 1 - bound.confidence))),
        bound.fraction,
        bound.confidence,
        tuple(problems),
    )


@dataclass(frozen=True)
class _Rows:
    """Joint rows of the mixture of laws, one for each draw of the strength."""

    members: tuple[LifeDraws, ...]
    owner: IntArray
    row: IntArray
    scale: FloatArray
    factor: FloatArray
    temperature_K: FloatArray
    top_N: float
    problems: tuple[Problem, ...]

    @classmethod
    def of(cls, strength: UseStrength, lives: LifeMixture) -> _Rows:
        """Pair rows: the members in proportion to their weight, spread evenly over the draws."""
        draws = strength.mean_ln.size
        edges = np.cumsum(lives.weights)
        # Low-discrepancy order, so that no member meets only some of the strength's draws.
        place = np.modf((np.arange(draws) + 0.5) * 0.6180339887498949)[0]
        owner = np.minimum(np.searchsorted(edges, place, side="right"), len(edges) - 1)
        row = np.arange(draws) % len(lives.members[0].scale)
        scale = np.stack([m.scale for m in lives.members])[owner, row]
        takes = any(m.law.takes_temperature for m in lives.members)
        service = strength.event.inputs.get("temperature")
        given = strength.fit.data.temperature_K
        temperature = np.full(draws, given) if service is None else service
        problems: tuple[Problem, ...] = ()
        # The law itself knows the temperature: the step of the pulls to it must not count twice.
        names = [n for n in strength.factors if not (takes and n.startswith("temperature"))]
        ln = sum((strength.factors[n] for n in names), start=np.zeros(draws))
        if takes and not np.isfinite(temperature).all():
            temperature = np.full(draws, 293.15)
            problems = (Problem("service-temperature-assumed",
                                "no temperature of the use or the tests is given: 20 °C was taken "
                                "for the law of life; give temperature_C"),)  # fmt: skip
        return cls(lives.members, owner, row, scale, np.exp(ln), temperature,
                   lives.load_range_N[1], problems)  # fmt: skip

    def ln_life(self, load_N: FloatArray, e: FloatArray) -> FloatArray:
        """ln life of the line with standard deviate ``e`` (one per member) under each load."""
        out = np.empty(load_N.size)
        load = load_N / self.factor
        for j, member in enumerate(self.members):
            mine = self.owner == j
            design = member.law.design(load[mine], self.temperature_K[mine])
            out[mine] = np.sum(member.coefficients[self.row[mine]] * design, axis=1)
            out[mine] += e[j] * self.scale[mine]
        return out

    def load_for(self, ln_time: FloatArray, e: FloatArray) -> FloatArray:
        """Load (N) under which each row lives for a time, by halving, no higher than tested."""
        high = np.log(self.top_N * self.factor)
        low = high - 30.0
        enough = self.ln_life(np.exp(high), e) >= ln_time
        for _ in range(50):
            middle = (low + high) / 2
            lasts = self.ln_life(np.exp(middle), e) >= ln_time
            low, high = np.where(lasts, middle, low), np.where(lasts, high, middle)
        return np.where(enough, self.top_N * self.factor, np.exp(low))

    def ln_mean_rate(self, start_N: FloatArray, end_N: FloatArray) -> FloatArray:
        """ln of the mean of 1/life on each straight piece, (draws, pieces)."""
        out = np.empty(start_N.shape)
        for j, member in enumerate(self.members):
            mine = self.owner == j
            if mine.any():
                temperature = float(np.median(self.temperature_K[mine]))
                part = member.coefficients[self.row[mine]]
                out[mine] = member.law.ln_mean_rate(part, start_N[mine], end_N[mine], temperature)
        return out


def _odds_of_breaking(
    rows: _Rows, load_N: FloatArray, duration_s: FloatArray, level: float
) -> FailureProbability:
    """States of knowledge against loads: does the life end before the service life."""
    states = np.linspace(0, rows.row.size - 1, min(_STATES, rows.row.size)).astype(np.int64)
    events = np.linspace(0, load_N.size - 1, min(_EVENTS, load_N.size)).astype(np.int64)
    table = np.empty((states.size, events.size))
    for i, k in enumerate(states):
        member = rows.members[rows.owner[k]]
        load = load_N[events] / rows.factor[k]
        design = member.law.design(load, rows.temperature_K[events])
        typical = design @ member.coefficients[rows.row[k]]
        z = (np.log(duration_s[events]) - typical) / rows.scale[k]
        table[i] = _below(z, member.distribution)
    per_event = table.mean(axis=0)
    error = float(per_event.std(ddof=1) / np.sqrt(events.size)) if events.size > 1 else 0.0
    return summarised(table.mean(axis=1), error, level)


def _below(z: FloatArray, distribution: LifeDistribution) -> FloatArray:
    if distribution == "weibull":
        return np.asarray(-np.expm1(-np.exp(np.minimum(z, 300.0))))
    return np.asarray(ndtr(z))


def _standard(fraction: float, lives: LifeMixture) -> FloatArray:
    return np.array([standard_quantile(fraction, m.distribution) for m in lives.members])


def _tails(strength: UseStrength) -> list[float]:
    return [(1 - strength.fit.level) / 2, (1 + strength.fit.level) / 2]
