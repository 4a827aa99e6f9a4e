"""Bridge tests: one speed on two machines, where rate and machine cannot be told apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ratemodel.arrays import FloatArray, IntArray
from ratemodel.inference.data import RateData, speeds_of
from ratemodel.inference.findings import SAME_SPEED, confounded_machines
from ratemodel.planning.cells import Cell
from ratemodel.planning.lab import PlanRequest
from ratemodel.planning.search import Budget

#: Specimens on each side of a bridge.
EACH_SIDE = 3


@dataclass(frozen=True)
class Bridge:
    """One speed on two machines.

    Attributes
    ----------
    strain_rates_per_s : tuple of float
        The rate on each machine, within 0.15 decade of each other.
    machines : tuple of str
    specimens : tuple of int
        To be pulled on each, beyond what has been.
    adopted : bool
        Whether the plan holds it; otherwise it is an extra that the question does not pay for.
    width_with, width_without : float
        Expected interval of the answer within the same budget.
    """

    strain_rates_per_s: tuple[float, float]
    machines: tuple[str, str]
    specimens: tuple[int, int]
    adopted: bool
    width_with: float
    width_without: float


def separate_groups(request: PlanRequest, cells: Sequence[Cell], specimens: IntArray
                    ) -> list[tuple[str, ...]]:  # fmt: skip
    """Groups of machines that no common speed links once the plan has been carried out."""
    used = [cells[int(i)] for i in np.flatnonzero(specimens)]
    pairs = [(c.u, c.machine.name) for c in used]
    if request.known is not None:
        data = request.known.data
        pairs += [(float(u), data.machines[m]) for u, m in zip(data.u, data.machine, strict=True)]
    names = tuple(sorted({name for _, name in pairs}))
    u = np.array([p[0] for p in pairs])
    machine = np.array([names.index(p[1]) for p in pairs], dtype=np.int64)
    return confounded_machines(_bare(u, machine, names))


def bridge_floors(request: PlanRequest, cells: Sequence[Cell], specimens: IntArray,
                  budget: Budget) -> list[IntArray]:  # fmt: skip
    """Numbers per cell of every affordable bridge between two separate groups, cheapest first."""
    groups = separate_groups(request, cells, specimens)
    if len(groups) < 2:
        return []
    home = {name: k for k, group in enumerate(groups) for name in group}
    floors: list[tuple[float, IntArray]] = []
    for i, first in enumerate(cells):
        for j, second in enumerate(cells[:i]):
            a, b = home.get(first.machine.name), home.get(second.machine.name)
            if a is None or b is None or a == b or abs(first.u - second.u) > SAME_SPEED:
                continue
            if not (budget.allowed[i] and budget.allowed[j]):
                continue
            floor = np.zeros(len(cells), dtype=np.int64)
            for k in (i, j):
                floor[k] = max(EACH_SIDE - _done(request, cells[k]), 0)
            extra = float(np.maximum(floor - specimens, 0) @ budget.cost)
            if floor.any() and budget.holds(floor):
                floors.append((extra, floor))
    floors.sort(key=lambda f: f[0])
    return [floor for _, floor in floors]


def describe(cells: Sequence[Cell], floor: IntArray, request: PlanRequest,
             widths: tuple[float, float], adopted: bool) -> Bridge:  # fmt: skip
    """The bridge that a floor stands for; the side already tested is named with 0 specimens."""
    used = [int(i) for i in np.flatnonzero(floor)]
    if len(used) == 1:
        done = [
            k
            for k, cell in enumerate(cells)
            if cell.machine.name != cells[used[0]].machine.name
            and abs(cell.u - cells[used[0]].u) <= SAME_SPEED
            and _done(request, cell) >= EACH_SIDE
        ]
        used += done[:1]
    first, second = (cells[k] for k in used[:2])
    return Bridge((first.strain_rate_per_s, second.strain_rate_per_s),
                  (first.machine.name, second.machine.name),
                  (int(floor[used[0]]), int(floor[used[1]])), adopted, *widths)  # fmt: skip


def _done(request: PlanRequest, cell: Cell) -> int:
    """Specimens already pulled on this machine at this speed."""
    if request.known is None or cell.machine.name not in request.known.data.machines:
        return 0
    data = request.known.data
    mine = data.machine == data.machines.index(cell.machine.name)
    return int((mine & (np.abs(data.u - cell.u) <= SAME_SPEED / 2)).sum())


def _bare(u: FloatArray, machine: IntArray, names: tuple[str, ...]) -> RateData:
    n = u.size
    zero = np.zeros(n, dtype=np.int64)
    return RateData(u, np.zeros(n), np.ones(n, dtype=np.bool_), zero, machine, zero, speeds_of(u),
                    ("",), names, np.zeros((n, 0)))  # fmt: skip
