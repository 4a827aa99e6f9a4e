"""Candidate tests: one speed on one machine, with its time, its reading and its preload."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.planning.lab import Machine, PlanRequest

_MOST_CELLS = 44


@dataclass(frozen=True)
class Cell:
    """One speed on one machine.

    Attributes
    ----------
    u : float
        log10 of the strain rate in 1/s.
    preload : float
        Fraction of the expected strength gone to at the machine's highest speed; 0 = none.
    seconds : float
        Machine time of one specimen, set-up included.
    """

    machine: Machine
    u: float
    preload: float
    seconds: float

    @property
    def strain_rate_per_s(self) -> float:
        """Strain rate of the pull to the break."""
        return float(10.0**self.u)


def pull_seconds(request: PlanRequest, machine: Machine, u: float, preload: float) -> float:
    """Time from slack to break: the preload at the highest speed, the rest at the wanted one."""
    fast = machine.speed_max_m_per_s / request.free_length_m
    strain = request.strain_at_break
    return float(strain * (preload / fast + (1 - preload) / 10.0**u))


def machine_rates(request: PlanRequest, machine: Machine) -> FloatArray:
    """log10 rates to look at on one machine: its ends, an even grid, and the rate asked about."""
    ends = np.log10(np.array([machine.speed_min_m_per_s, machine.speed_max_m_per_s])
                    / request.free_length_m)  # fmt: skip
    low, high = float(ends[0]), float(ends[1])
    if high - low < 1e-9:
        return np.array([low])
    wanted = [request.question.u]
    if request.known is not None:
        # Rates already tested are worth repeating, on another machine too: they are bridges.
        wanted += request.known.data.rates.tolist()
    kept = [low, high]
    for u in [*sorted(wanted), *_even(request, low, high)]:
        if low < u < high and min(abs(u - k) for k in kept) > 0.08:
            kept.append(float(u))
    return np.array(sorted(kept))


def _even(request: PlanRequest, low: float, high: float) -> FloatArray:
    """A grid common to all machines, so that two of them meet at the same speeds."""
    spans = [np.log10(m.speed_max_m_per_s / m.speed_min_m_per_s) for m in request.machines]
    step = max(0.25, float(sum(spans)) / _MOST_CELLS)
    first, last = np.ceil(low / step), np.floor(high / step)
    return np.asarray(np.arange(first, last + 1) * step)


def cost_s(cells: Sequence[Cell]) -> FloatArray:
    """Machine seconds of one specimen in each cell."""
    return np.array([c.seconds for c in cells])
