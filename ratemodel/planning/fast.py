"""Fast preload before a slow pull: how far it may go, and the cells that use it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import Problem
from ratemodel.inference.priors import BRAID_DIFFUSIVITY, FIRST_ROOT_SQUARED
from ratemodel.models.fast_preload import SlowPull, fast_preload, fast_preload_ratio
from ratemodel.models.rate import LN10
from ratemodel.planning.cells import Cell, machine_rates, pull_seconds
from ratemodel.planning.knowledge import Knowledge, Part
from ratemodel.planning.lab import Machine, PlanRequest

#: Preloads looked at, highest first; above 0.8 nothing is published.
PRELOADS = (0.8, 0.7, 0.6, 0.5, 0.4)
#: A preload that saves less than this per specimen is not worth its trouble, s.
WORTH_S = 60.0
_SLOPES = ("slope", "fibre_slope", "k")


def all_cells(request: PlanRequest, knowledge: Knowledge) -> tuple[Cell, ...]:
    """Every speed of every machine, with the fast preload that its bias and heat allow."""
    exponent = damage_exponent(knowledge)
    out = []
    for machine in request.machines:
        for u in machine_rates(request, machine):
            p = allowed_preload(request, machine, float(u), exponent)
            seconds = machine.setup_s + pull_seconds(request, machine, float(u), p)
            out.append(Cell(machine, float(u), p, seconds))
    return tuple(out)


def damage_exponent(knowledge: Knowledge) -> float:
    """Life exponent n of linear damage at the edge of belief: 95 % of it lies above.

    n + 1 = ln 10 / b with b the slope of ln S per decade due to the fibre; the heat step is no
    damage. Infinite where no slope is believed in.
    """
    slopes, weights = zip(*(_fibre_slope(p) for p in knowledge.parts), strict=True)
    slope, weight = np.concatenate(slopes), np.concatenate(weights)
    order = np.argsort(slope)
    at = np.searchsorted(np.cumsum(weight[order]), 0.95 * weight.sum())
    b = float(slope[order][min(int(at), slope.size - 1)])
    return LN10 / b - 1.0 if b > 1e-4 else float("inf")


def _fibre_slope(part: Part) -> tuple[FloatArray, FloatArray]:
    """Slopes per decade in a part, at five normal quantiles of each point, and their weights."""
    model = part.setup.model
    z = np.array([-1.645, -0.674, 0.0, 0.674, 1.645])
    weight = np.repeat(part.weight / z.size, z.size)
    names = [p.name for p in model.linear]
    found = [names.index(n) for n in _SLOPES if n in names]
    if found:
        j = found[0]
        sd = np.sqrt((part.root[:, j] ** 2).sum(axis=1))
        return (part.mean[:, j, None] + sd[:, None] * z).ravel(), weight
    if model.name in ("semi-log", "kinetic"):
        u = model.reference + np.array([-0.5, 0.5])
        step = np.diff(model.offset(u, part.shape), axis=1)[:, 0]
        return np.repeat(step, z.size), weight
    return np.zeros(weight.size), weight


def preload_bias(preload: float, exponent: float, rate_ratio: float = 0.0) -> float:
    """Strength gained by the fast preload, as a fraction."""
    if not np.isfinite(exponent) or preload <= 0:
        return 0.0
    return float(fast_preload_ratio(preload, max(exponent, 0.0), rate_ratio)) - 1.0


def allowed_preload(request: PlanRequest, machine: Machine, u: float, exponent: float) -> float:
    """Highest preload whose bias stays below the limit and which leaves the line cold; 0 = none."""
    fast = machine.speed_max_m_per_s / request.free_length_m
    slow_s = request.strain_at_break / 10.0**u
    for p in PRELOADS if request.preload_bias_limit > 0 else ():
        saved = pull_seconds(request, machine, u, 0.0) - pull_seconds(request, machine, u, p)
        if saved < WORTH_S:
            return 0.0
        if preload_bias(p, exponent, 10.0**u / fast) > request.preload_bias_limit:
            continue
        # Load stands for strain here: rates in the ratio of the speeds, unit strength.
        pull = SlowPull(1.0, 1.0 / slow_s, fast / request.strain_at_break, thermal_time(request))
        if not any(f.code == "heat" for f in fast_preload(pull, [p], [1e3]).problems):
            return p
    return 0.0


def thermal_time(request: PlanRequest) -> float | None:
    """Time constant of heat leaving the line (s), where the diameter is known."""
    product = request.product
    if product is None or product.diameter_m is None:
        return None
    return float((product.diameter_m / 2) ** 2 / (FIRST_ROOT_SQUARED * BRAID_DIFFUSIVITY))


def preload_findings(request: PlanRequest, cells: list[Cell], exponent: float
                     ) -> list[Problem]:  # fmt: skip
    """What stands beside a plan that uses a fast preload."""
    used = [c for c in cells if c.preload > 0]
    if not used:
        return []
    most = max(used, key=lambda c: c.preload)
    bias = max(max(preload_bias(c.preload, exponent) for c in used), 1e-5)
    pull = SlowPull(1.0, 10.0**most.u / request.strain_at_break,
                    thermal_time_s=thermal_time(request),
                    bedded_in_fraction=_bedded_in(request))  # fmt: skip
    found = [f for f in fast_preload(pull, [most.preload], [1e3]).problems if f.code != "heat"]
    text = (
        f"fast preload to {100 * most.preload:.0f} % of the expected strength, then the slow pull: "
        f"it raises the strength read by at most {100 * bias:.2g} % by the damage model (95 % "
        "belief). That holds for damage, not for bedding-in or heat: compare three pulls with and "
        "three without, and take the strain rate from the part of the log above the preload"
    )
    return [Problem("fast-preload", text, "caution"), *found]


def _bedded_in(request: PlanRequest) -> float | None:
    """Fraction of the strength to which every specimen so far was cycled; None = not all were."""
    if request.known is None:
        return None
    used = request.known.series.used
    fraction = np.where(used.preload_cycles > 0, used.preload_fraction, np.nan)
    return float(fraction.min()) if bool(np.isfinite(fraction).all()) else None


def without_preload(request: PlanRequest, cell: Cell) -> Cell:
    """The same test pulled slowly all the way."""
    seconds = cell.machine.setup_s + pull_seconds(request, cell.machine, cell.u, 0.0)
    return replace(cell, preload=0.0, seconds=seconds)
