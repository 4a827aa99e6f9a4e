"""Frozen tables of what changes with time or cycles: creep runs and preload cycling."""

from __future__ import annotations

from dataclasses import dataclass

from ratemodel.arrays import FloatArray


@dataclass(frozen=True)
class CreepRun:
    """One specimen under a constant load, with its strain against time.

    ``broke``: it broke at the last time; otherwise it held at least as long. ``strain`` is the
    strain read, or elongation over free length. ``free_length_m`` and ``temperature_K`` are NaN
    where not given; ``row`` is its line in creep.csv.
    """

    file: str
    series: str
    specimen: str
    load_N: float
    free_length_m: float
    temperature_K: float
    broke: bool
    time_s: FloatArray
    strain: FloatArray
    note: str
    row: int


@dataclass(frozen=True)
class Creep:
    """Every creep run of a campaign, in the order of creep.csv."""

    runs: tuple[CreepRun, ...]

    def __len__(self) -> int:
        return len(self.runs)


@dataclass(frozen=True)
class Cycling:
    """Rows of cycling.csv: one specimen after one number of preload cycles each, length n.

    ``strength``: force at break after this many cycles, in the SI unit of the series' strength.
    ``residual_elongation``: strain left after unloading. ``stiffness_N``: force per unit strain.
    ``hysteresis_J``: energy lost in the cycle. NaN where nothing was given; text ``""``.
    ``broke`` False: it held at least ``strength``. A row with a text in ``excluded`` is set aside.
    """

    specimen: tuple[str, ...]
    series: tuple[str, ...]
    cycle: FloatArray
    preload_fraction: FloatArray
    strength: FloatArray
    broke: tuple[bool, ...]
    residual_elongation: FloatArray
    stiffness_N: FloatArray
    hysteresis_J: FloatArray
    temperature_K: FloatArray
    batch: tuple[str, ...]
    machine: tuple[str, ...]
    excluded: tuple[str, ...]
    note: tuple[str, ...]
    row: tuple[int, ...]

    def __len__(self) -> int:
        return len(self.specimen)
