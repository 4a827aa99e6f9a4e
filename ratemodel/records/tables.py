"""Frozen tables that every later room receives: SI inside, validated once, never edited."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, TypeAlias

import numpy as np

from ratemodel.arrays import BoolArray, FloatArray
from ratemodel.units import Unit

Statistic: TypeAlias = Literal["average", "mean-2sd", "mean-3sd", "lowest", "unknown"]
UseKind: TypeAlias = Literal["fall", "snatch", "steady", "rate"]
Scatter: TypeAlias = Literal["normal", "smallest-extreme-value"]


@dataclass(frozen=True)
class Distribution:
    """A number, or what is known of it, in SI.

    ``fixed``: the value ``a``. ``normal``: mean ``a``, standard deviation ``b``. ``uniform``: from
    ``a`` to ``b``. ``lognormal``: median ``a``, multiplicative standard deviation (factor) ``b``.
    """

    kind: Literal["fixed", "normal", "uniform", "lognormal"]
    a: float
    b: float = 0.0

    def from_uniform(self, u: FloatArray) -> FloatArray:
        """Quantiles at probabilities ``u`` (any shape, inside 0..1)."""
        from scipy.special import ndtri

        if self.kind == "fixed":
            return np.full(u.shape, self.a)
        if self.kind == "uniform":
            return np.asarray(self.a + (self.b - self.a) * u)
        z = np.asarray(ndtri(u), dtype=np.float64)
        if self.kind == "normal":
            return np.asarray(self.a + self.b * z)
        return np.asarray(self.a * np.exp(np.log(self.b) * z))

    def sample(self, size: int, rng: np.random.Generator) -> FloatArray:
        """``size`` independent draws, shape ``(size,)``."""
        return self.from_uniform(rng.uniform(size=size))

    @property
    def median(self) -> float:
        """Median in SI."""
        return (self.a + self.b) / 2 if self.kind == "uniform" else self.a


@dataclass(frozen=True)
class Factor:
    """A multiplicative strength factor of a use, with where it comes from."""

    name: str
    distribution: Distribution
    origin: str


@dataclass(frozen=True)
class Rating:
    """What the supplier declares, and how it was pulled as far as stated."""

    strength: float
    statistic: Statistic = "unknown"
    strain_rate_per_s: float | None = None
    preload_fraction: float | None = None
    preload_cycles: float | None = None


@dataclass(frozen=True)
class Use:
    """One use case. ``quantities`` holds SI distributions under names without their unit suffix.

    Names used: ``mass`` (kg), ``fall`` (m), ``closing_speed`` (m/s), ``line_length`` (m),
    ``stiffness`` (N per unit strain), ``strain_rate`` (1/s), ``load`` (N), ``duration`` (s).
    Further numeric keys of a use case are kept here in SI under the same rule.
    """

    name: str
    series: str
    kind: UseKind
    quantities: Mapping[str, Distribution]
    design_factor: float | None = None
    target_failure_probability: float | None = None
    factors: tuple[Factor, ...] = ()
    options: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True)
class Specimens:
    """Columns of the break table for one series, one entry per specimen, all of length n.

    Text columns are tuples with ``""`` where nothing was given; numeric columns are float arrays
    with NaN where nothing was given. ``strength`` is in the SI unit of ``Series.strength_unit``.
    Rows of a publication's summary table are unfolded into ``n`` pseudo-specimens whose mean and
    standard deviation are exactly the published ones; ``summary`` marks them.
    """

    specimen: tuple[str, ...]
    strength: FloatArray
    broke: BoolArray
    strain_rate_per_s: FloatArray
    batch: tuple[str, ...]
    machine: tuple[str, ...]
    free_length_m: FloatArray
    strain_at_break: FloatArray
    preload_fraction: FloatArray
    preload_cycles: FloatArray
    temperature_K: FloatArray
    termination: tuple[str, ...]
    failure_site: tuple[str, ...]
    strands_intact: FloatArray
    excluded: tuple[str, ...]
    log: tuple[str, ...]
    note: tuple[str, ...]
    summary: BoolArray
    row: tuple[int, ...]
    extra: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self.specimen)


def no_specimens() -> Specimens:
    """An empty table."""
    empty, yes = np.zeros(0), np.zeros(0, dtype=np.bool_)
    return Specimens(
        specimen=(), strength=empty, broke=yes, strain_rate_per_s=empty, batch=(), machine=(),
        free_length_m=empty, strain_at_break=empty, preload_fraction=empty, preload_cycles=empty,
        temperature_K=empty, termination=(), failure_site=(), strands_intact=empty, excluded=(),
        log=(), note=(), summary=yes, row=(),
    )  # fmt: skip


@dataclass(frozen=True)
class Series:
    """One product in one state, with its specimens.

    ``used`` and ``set_aside`` together are all rows of the table; a row is set aside when its
    ``excluded`` cell gives a reason.
    """

    name: str
    used: Specimens
    set_aside: Specimens
    material: str = ""
    diameter_m: float | None = None
    batch_sd_fraction: float | None = None
    scatter: Scatter = "normal"
    strength_unit: Unit = field(default_factory=lambda: Unit("kN", "force", 1e3))
    rating: Rating | None = None
    options: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True)
class Campaign:
    """A campaign folder as read: series and use cases by name, with the hash of its files.

    ``sha256`` covers the bytes of every input file, in the order of their names.
    ``options`` keeps tables of campaign.toml that later rooms read (machines, priors, plan).
    """

    name: str
    series: Mapping[str, Series]
    use: Mapping[str, Use]
    sha256: str
    folder: str = ""
    options: Mapping[str, object] = field(default_factory=dict)

    @property
    def tests(self) -> int:
        """Number of specimens in the break table, kept and set aside."""
        return sum(len(s.used) + len(s.set_aside) for s in self.series.values())
