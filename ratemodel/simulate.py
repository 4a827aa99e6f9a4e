"""Campaigns with known truth, in memory: for tests, studies, the demonstration and planning."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TypeAlias, TypeVar

import numpy as np

from ratemodel.arrays import BoolArray, FloatArray, IntArray
from ratemodel.errors import InputError
from ratemodel.models.rate import Competing
from ratemodel.records.tables import Rating, Scatter, Series, Specimens

#: log10 of the strain rate (1/s), shape (n,), to the mean of ln S (S in N), shape (n,).
Curve: TypeAlias = Callable[[FloatArray], FloatArray]
_T = TypeVar("_T")


@dataclass(frozen=True)
class FibreAndHeat:
    """Both mechanisms as a curve: ln S = ln S_ref + b (u - u_ref) - D (h(u - c) - h(u_ref - c)).

    Attributes
    ----------
    ln_strength : float
        ln of the mean strength (N) at the reference rate.
    reference : float
        log10 of the reference strain rate (1/s).
    fibre_slope : float
        b, change of ln S per decade due to the fibre; 0 leaves the heat step alone.
    drop : float
        D, loss of ln S from a slow pull to a fast one due to heat; 0 leaves a straight line.
    place : float
        c, log10 of the strain rate at which half the heat is still inside at the break.

    Examples
    --------
    >>> FibreAndHeat(drop=0.0, fibre_slope=0.03)(np.array([-3.0, -2.0])).round(3)
    array([9.21, 9.24])
    """

    ln_strength: float = float(np.log(10_000.0))
    reference: float = -3.0
    fibre_slope: float = 0.02
    drop: float = 0.12
    place: float = -2.0

    def __call__(self, u: FloatArray) -> FloatArray:
        """Mean of ln S at log10 rates ``u``, shape kept."""
        linear = np.array([[self.ln_strength, self.fibre_slope, self.drop]])
        shape = np.array([[self.place]])
        flat = np.ravel(np.asarray(u, dtype=np.float64))
        return np.asarray(Competing(self.reference).curve(flat, linear, shape)[0].reshape(u.shape))


@dataclass(frozen=True)
class Truth:
    """What is true of a product and of the machines that pull it.

    Attributes
    ----------
    curve : callable
        Mean of ln S (S in N) of specimens not cycled, over log10 of the strain rate.
    scatter : float
        Standard deviation of ln S from specimen to specimen of one spool, at ``reference``.
    growth : float
        Change of ln ``scatter`` per decade of rate.
    reference : float
        log10 of the strain rate at which ``scatter`` holds.
    batch_sd : float
        Standard deviation of ln S from spool to spool.
    cycled_gain : float
        Added to ln S of specimens cycled before the pull.
    machine_sd : float
        Calibration standard deviation of a machine, drawn anew for every series.
    machine_bias : mapping of str to float
        ln of reading over force for machines whose bias is fixed; these are not drawn.
    family : {"normal", "smallest-extreme-value"}
        Distribution of ln S within a spool, with mean and standard deviation as above.
    """

    curve: Curve = field(default_factory=FibreAndHeat)
    scatter: float = 0.025
    growth: float = 0.0
    reference: float = -3.0
    batch_sd: float = 0.0
    cycled_gain: float = 0.0
    machine_sd: float = 0.0
    machine_bias: Mapping[str, float] = field(default_factory=dict)
    family: Scatter = "normal"

    def scatter_at(self, u: FloatArray) -> FloatArray:
        """Standard deviation of ln S within a spool at log10 rates ``u``."""
        return np.asarray(self.scatter * np.exp(self.growth * (u - self.reference)))


@dataclass(frozen=True)
class Design:
    """What is pulled where. One entry of ``rates`` is one set of specimens pulled alike.

    Attributes
    ----------
    rates : tuple of float
        log10 of the strain rate (1/s) of each set; a rate may stand more than once.
    specimens, machines, cycles : one value for all sets, or a tuple with one for each
        Number of specimens, name of the machine, preload cycles before the pull.
    spools : int
        Spools that the specimens of each set are taken from in turn.
    force_limit_N : float or mapping of str to float, optional
        What a machine can pull; a stronger specimen is stopped there and did not break.
    censor_fraction : float
        Share of all specimens of a set that a stop at one fixed force would leave unbroken; pulls
        are stopped there. 0 pulls all to break.
    preload_fraction : float
        Level of the preload cycles as a fraction of the rating.
    free_length_m, strain_at_break : float
        Written beside every specimen.
    """

    rates: tuple[float, ...]
    specimens: int | tuple[int, ...] = 5
    machines: str | tuple[str, ...] = "frame"
    cycles: int | tuple[int, ...] = 0
    spools: int = 1
    force_limit_N: float | Mapping[str, float] | None = None
    censor_fraction: float = 0.0
    preload_fraction: float = 0.5
    free_length_m: float = 0.5
    strain_at_break: float = 0.04


@dataclass(frozen=True)
class Label:
    """What campaign.toml would say of the series."""

    name: str = "simulated"
    material: str = "HMPE"
    diameter_m: float | None = 0.003
    batch_sd_fraction: float | None = None
    rating: Rating | None = None


@dataclass(frozen=True)
class _Sets:
    """Rows of a design, one entry per specimen."""

    u: FloatArray
    machine: tuple[str, ...]
    cycles: FloatArray
    spool: IntArray


def simulate_series(
    truth: Truth, design: Design, rng: np.random.Generator, *, label: Label | None = None
) -> Series:
    """Draw one series of break tests.

    ln S = curve(u) + cycled gain + spool + scatter; the machine reads S times its bias. Specimens
    that would break above the machine's limit, or above the stop that ``censor_fraction`` sets,
    are right-censored there.

    Parameters
    ----------
    truth : Truth
        Product and machines.
    design : Design
        What is pulled where.
    rng : numpy.random.Generator
        Source of spools, machines and scatter.
    label : Label, optional
        Name, material, diameter, spool prior and rating of the series.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> series = simulate_series(Truth(), Design((-3.0, 0.0), machines=("slow", "fast")), rng)
    >>> len(series.used), series.used.machine[-1], bool(series.used.broke.all())
    (10, 'fast', True)
    """
    label = label or Label()
    sets = _rows(design)
    ln_strength = truth.curve(sets.u) + truth.cycled_gain * (sets.cycles > 0)
    ln_strength = ln_strength + (truth.batch_sd * rng.standard_normal(design.spools))[sets.spool]
    ln_strength = ln_strength + truth.scatter_at(sets.u) * _standard(truth.family, sets.u.size, rng)
    ln_read = ln_strength + _machine_effects(truth, sets.machine, rng)
    limit = _limits(truth, design, sets)
    broke = ln_read <= limit
    strength = np.exp(np.minimum(ln_read, limit))
    return Series(
        name=label.name,
        used=_specimens(design, sets, strength, broke),
        set_aside=_specimens(design, _none(sets), strength[:0], broke[:0]),
        material=label.material,
        diameter_m=label.diameter_m,
        batch_sd_fraction=label.batch_sd_fraction,
        scatter=truth.family,
        rating=label.rating,
    )


def _rows(design: Design) -> _Sets:
    count = _each(design.specimens, len(design.rates))
    machines = _each(design.machines, len(design.rates))
    cycles = _each(design.cycles, len(design.rates))
    # the turn of spools goes on from set to set, so that small sets do not all use spool 1
    return _Sets(
        np.repeat(np.array(design.rates, dtype=np.float64), count),
        tuple(m for m, n in zip(machines, count, strict=True) for _ in range(n)),
        np.repeat(np.array(cycles, dtype=np.float64), count),
        np.arange(sum(count), dtype=np.int64) % design.spools,
    )


def _each(value: _T | tuple[_T, ...], count: int) -> tuple[_T, ...]:
    values = value if isinstance(value, tuple) else (value,) * count
    if len(values) != count:
        raise InputError(f"{len(values)} entries for {count} rates", "one for each, or one for all")
    return values


def _standard(family: Scatter, size: int, rng: np.random.Generator) -> FloatArray:
    """Scatter with mean 0 and standard deviation 1."""
    if family == "normal":
        return rng.standard_normal(size)
    return np.asarray((np.euler_gamma - rng.gumbel(size=size)) / (np.pi / np.sqrt(6.0)))


def _machine_effects(
    truth: Truth, machine: tuple[str, ...], rng: np.random.Generator
) -> FloatArray:
    names = sorted(set(machine))
    drawn = dict(zip(names, truth.machine_sd * rng.standard_normal(len(names)), strict=True))
    effect = drawn | dict(truth.machine_bias)
    return np.array([effect[name] for name in machine], dtype=np.float64)


def _limits(truth: Truth, design: Design, sets: _Sets) -> FloatArray:
    """ln of the force at which each pull is stopped; infinite where it never is."""
    given = design.force_limit_N
    if isinstance(given, Mapping):
        force = np.array([given.get(name, np.inf) for name in sets.machine], dtype=np.float64)
    else:
        force = np.full(sets.u.size, np.inf if given is None else given)
    limit = np.log(force)
    if design.censor_fraction > 0:
        mean = truth.curve(sets.u) + truth.cycled_gain * (sets.cycles > 0)
        total = np.hypot(truth.scatter_at(sets.u), truth.batch_sd)
        limit = np.minimum(limit, mean + total * _upper_quantile(truth, design.censor_fraction))
    return np.asarray(limit)


def _upper_quantile(truth: Truth, fraction: float) -> float:
    """Standard score that a fraction exceeds (spool scatter taken as part of the family)."""
    from scipy.special import ndtri

    if truth.family == "normal":
        return float(ndtri(1.0 - fraction))
    return float((np.log(-np.log(fraction)) + np.euler_gamma) / (np.pi / np.sqrt(6.0)))


def _none(sets: _Sets) -> _Sets:
    return _Sets(sets.u[:0], (), sets.cycles[:0], sets.spool[:0])


def _specimens(design: Design, sets: _Sets, strength: FloatArray, broke: BoolArray) -> Specimens:
    n = sets.u.size
    empty = ("",) * n
    return Specimens(
        specimen=tuple(f"s{i + 1:03d}" for i in range(n)),
        strength=strength,
        broke=broke,
        strain_rate_per_s=np.asarray(10.0**sets.u),
        batch=tuple(f"spool-{k + 1}" for k in sets.spool.tolist()),
        machine=sets.machine,
        free_length_m=np.full(n, design.free_length_m),
        strain_at_break=np.full(n, design.strain_at_break),
        preload_fraction=np.where(sets.cycles > 0, design.preload_fraction, 0.0),
        preload_cycles=sets.cycles,
        temperature_K=np.full(n, np.nan),
        termination=empty,
        failure_site=empty,
        strands_intact=np.full(n, np.nan),
        excluded=empty,
        log=empty,
        note=empty,
        summary=np.zeros(n, dtype=np.bool_),
        row=tuple(range(2, n + 2)),
    )


__all__ = ["Curve", "Design", "FibreAndHeat", "Label", "Truth", "simulate_series"]
