"""Numbers of specimens per cell: the classical designs, and the search for the narrowest answer."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from ratemodel.arrays import BoolArray, FloatArray, IntArray
from ratemodel.planning.cells import Cell, cost_s
from ratemodel.planning.optimal import Design, equal_spacing, extrapolation, straight_line
from ratemodel.planning.preposterior import Outlook, expected_sd, linear_variance

#: Speeds of the yardstick "equal spacing".
SPEEDS = 5
_PASSES = 40
_SHORTLIST = 14
_GAIN = 1e-3


@dataclass(frozen=True)
class Budget:
    """What may be spent.

    Attributes
    ----------
    cost : ndarray, shape (K,)
        Seconds of one specimen in each cell.
    allowed : ndarray of bool, shape (K,)
        Cells whose machine is strong enough.
    least : int
        Fewest specimens in a cell that is used.
    """

    seconds: float
    specimens: int
    cost: FloatArray
    allowed: BoolArray
    least: int

    def holds(self, n: IntArray) -> bool:
        """Whether a design can be paid for."""
        return bool(n @ self.cost <= self.seconds * (1 + 1e-9) and n.sum() <= self.specimens)

    def fill(self, share: FloatArray) -> IntArray:
        """As many specimens in these shares as the budget takes; zeros where it takes none."""
        mean_cost = float(share @ self.cost) / max(float(share.sum()), 1e-300)
        top = min(self.specimens, int(self.seconds / max(mean_cost, 1e-9)) + share.size)
        at = np.flatnonzero(share > 0)
        for total in range(top, 0, -1):
            n = np.zeros(share.size, dtype=np.int64)
            n[at] = Design(np.zeros(at.size), share[at] / share[at].sum()).specimens(total)
            if self.holds(n):
                return n
        return np.zeros(share.size, dtype=np.int64)


def classical(design: Design, cells: Sequence[Cell], budget: Budget) -> IntArray:
    """A classical design on the cells at hand: each rate on the nearest, then cheapest, cell."""
    share = np.zeros(len(cells))
    cost = cost_s(cells)
    u = np.array([c.u for c in cells])
    for rate, part in zip(design.u, design.share, strict=True):
        away = np.where(budget.allowed, np.abs(u - rate), np.inf)
        near = np.flatnonzero(away <= away.min() + 1e-6)
        share[near[np.argmin(cost[near])]] += part
    return budget.fill(share)


def reach(cells: Sequence[Cell], budget: Budget) -> tuple[float, float]:
    """Lowest and highest log10 rate that can be tested."""
    u = np.array([c.u for c in cells])[budget.allowed]
    return float(u.min()), float(u.max())


def two_speeds(cells: Sequence[Cell], budget: Budget) -> IntArray:
    """Half of the specimens at the slowest and half at the fastest speed."""
    low, high = reach(cells, budget)
    if high - low < 1e-6:
        return classical(Design(np.array([low]), np.ones(1)), cells, budget)
    return classical(straight_line(low, high), cells, budget)


def evenly_spaced(cells: Sequence[Cell], budget: Budget) -> IntArray:
    """Equal numbers at five speeds evenly spaced in log rate, fewer where specimens are few."""
    low, high = reach(cells, budget)
    if high - low < 1e-6:
        return two_speeds(cells, budget)
    speeds = int(np.clip(budget.specimens // max(budget.least, 1), 2, SPEEDS))
    return classical(equal_spacing(low, high, speeds), cells, budget)


def starts(cells: Sequence[Cell], budget: Budget, target: float) -> Iterator[IntArray]:
    """Designs from which the search sets out."""
    low, high = reach(cells, budget)
    yield two_speeds(cells, budget)
    yield evenly_spaced(cells, budget)
    yield classical(Design(np.array([np.clip(target, low, high)]), np.ones(1)), cells, budget)
    if high - low > 1e-6 and not low <= target <= high:
        yield classical(extrapolation(low, high, target, 1), cells, budget)
        yield classical(extrapolation(low, high, target, 2), cells, budget)


def search(view: Outlook, cells: Sequence[Cell], budget: Budget, *,
           floor: IntArray | None = None, seeds: Sequence[IntArray] = ()) -> IntArray:  # fmt: skip
    """Numbers per cell with the least expected standard deviation of the answer.

    Exchange search: specimens are moved between cells, or added while the budget lasts. Moves are
    put in order by the best linear prediction and the first ones tried on the whole mixture.

    Parameters
    ----------
    floor : ndarray, shape (K,), optional
        Numbers that must stay where they are (bridge tests).
    seeds : sequence of ndarray, optional
        Further designs to set out from.

    References
    ----------
    Fedorov, Theory of Optimal Experiments (1972), exchange (from memory).
    """
    base = np.zeros(len(cells), dtype=np.int64) if floor is None else floor
    known: dict[bytes, float] = {}

    def value(n: IntArray) -> float:
        key = n.tobytes()
        if key not in known:
            known[key] = expected_sd(view, n)
        return known[key]

    first = []
    for n in (*seeds, *starts(cells, budget, view.ends[0])):
        grown = _with_floor(n, base, budget)
        if grown is not None and grown.any():
            first.append(grown)
    first.sort(key=value)
    if not first:
        return base
    guide = _guide(view)
    best = min((_improve(n, base, budget, (value, guide)) for n in first[:2]), key=value)
    return best


def _with_floor(n: IntArray, floor: IntArray, budget: Budget) -> IntArray | None:
    """A design raised to the floor and cut back, at its largest cells, to what can be paid."""
    out = np.maximum(n, floor)
    while not budget.holds(out):
        spare = np.where(out > floor, out, 0)
        if not spare.any():
            return None
        out[int(np.argmax(spare))] -= 1
    few = (out > floor) & (out < budget.least)
    out[few] = floor[few]
    return out


def _improve(n: IntArray, floor: IntArray, budget: Budget,
             judges: tuple[Callable[[IntArray], float], Callable[[IntArray], float]]
             ) -> IntArray:  # fmt: skip
    value, guide = judges
    best = value(n)
    for _ in range(_PASSES):
        options = sorted(_moves(n, floor, budget), key=guide)
        # A few of the others too: the guide is blind to what tells models apart.
        rest = options[_SHORTLIST:]
        tried = options[:_SHORTLIST] + rest[:: max(1, len(rest) // _SHORTLIST)]
        scored = [(value(m), i) for i, m in enumerate(tried)]
        if not scored or min(scored)[0] > best * (1 - _GAIN * 0.1):
            return n
        best, at = min(scored)
        n = tried[at]
    return n


def _moves(n: IntArray, floor: IntArray, budget: Budget) -> Iterator[IntArray]:
    """Designs one exchange or one addition away that can be paid for."""
    used = np.flatnonzero(n > floor)
    for j in np.flatnonzero(budget.allowed):
        step = 1 if n[j] > 0 else budget.least
        for more in {step, 2 * step}:
            grown = n.copy()
            grown[j] += more
            if budget.holds(grown):
                yield grown
        for i in used:
            if i == j:
                continue
            spare = int(n[i] - floor[i])
            for size in {1, budget.least, spare // 2, spare}:
                if not 0 < size <= spare:
                    continue
                moved = n.copy()
                moved[i] -= size
                moved[j] += size
                enough = (moved == 0) | (moved >= budget.least) | (moved <= floor)
                if enough[i] and enough[j]:
                    paid = moved if budget.holds(moved) else _paid(moved, int(j), floor, budget)
                    if paid is not None:
                        yield paid


def _paid(n: IntArray, at: int, floor: IntArray, budget: Budget) -> IntArray | None:
    """The design with cell ``at`` cut back until it can be paid for."""
    over = float(n @ budget.cost) - budget.seconds
    cut = int(np.ceil(over / budget.cost[at] - 1e-9))
    out = n.copy()
    out[at] -= max(cut, 0)
    if out[at] < max(budget.least, int(floor[at])) or not budget.holds(out):
        return None
    return out


def _guide(view: Outlook) -> Callable[[IntArray], float]:
    cov, cross, own, noise = linear_variance(view)

    def variance(n: IntArray) -> float:
        used = np.flatnonzero(n > 0)
        if used.size == 0:
            return own
        s = cov[np.ix_(used, used)] + np.diag(noise[used] / n[used])
        explained = float(cross[used] @ np.linalg.solve(s, cross[used]))
        return own - explained + view.departure(view.u[used])

    return variance
