"""A plan: which speeds, on which machines, how many specimens, and what they will tell."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from ratemodel.arrays import BoolArray, FloatArray, IntArray
from ratemodel.errors import InputError, Problem
from ratemodel.planning.bridge import Bridge, bridge_floors, describe, separate_groups
from ratemodel.planning.cells import Cell, cost_s
from ratemodel.planning.checks import (
    bridge_findings,
    expected_strength,
    gain_findings,
    reach_findings,
    strong_enough,
)
from ratemodel.planning.fast import all_cells, damage_exponent, preload_findings, without_preload
from ratemodel.planning.knowledge import know
from ratemodel.planning.lab import PlanRequest
from ratemodel.planning.preposterior import Outlook, expected_width, outlook
from ratemodel.planning.search import Budget, evenly_spaced, search, two_speeds
from ratemodel.planning.sheet import TestSheet, test_sheet

#: A bridge is put into the plan where it widens the answer's interval by less than this: what a
#: machine's bias may be rests on a stated figure, the bridge would show it.
BRIDGE_PREMIUM = 1.10
CHOSEN, TWO, EVEN = "this plan", "two speeds, half each", "equal spacing"


@dataclass(frozen=True)
class DesignRow:
    """One design in the comparison.

    Attributes
    ----------
    tests : tuple of (Cell, int)
        Cells used and their specimens.
    expected_width : float
        Expected width of the answer's interval, on ln S (so nearly a fraction of strength).
    ratio : float or None
        The same over the width now; None where nothing is known yet.
    """

    name: str
    tests: tuple[tuple[Cell, int], ...]
    specimens: int
    hours: float
    expected_width: float
    ratio: float | None


@dataclass(frozen=True)
class HoursCurve:
    """Expected width of the answer's interval (on ln S) against machine hours, by design."""

    hours: FloatArray
    width: Mapping[str, FloatArray]


@dataclass(frozen=True)
class Plan:
    """What to test, against the yardsticks.

    Attributes
    ----------
    table : tuple of DesignRow
        The plan first, then the yardsticks for the same machine hours.
    width_now : float
        Width of the answer's interval now, on ln S; infinite where nothing is known.
    strength_N : float or None
        Strength expected, as far as known.
    bridge : Bridge or None
        Bridge tests, where rate and machine could otherwise not be told apart.
    """

    request: PlanRequest
    table: tuple[DesignRow, ...]
    width_now: float
    curve: HoursCurve
    bridge: Bridge | None
    sheet: TestSheet
    strength_N: float | None
    problems: tuple[Problem, ...]

    @property
    def chosen(self) -> DesignRow:
        """The plan itself."""
        return self.table[0]


@dataclass(frozen=True)
class Effort:
    """How hard the planner works: mixture parts and imagined outcomes, searching and judging."""

    search_parts: int = 300
    search_outcomes: int = 40
    judge_parts: int = 1000
    judge_outcomes: int = 150
    curve_points: int = 6


@dataclass(frozen=True)
class _Desk:
    """What every step of planning needs."""

    request: PlanRequest
    cells: tuple[Cell, ...]
    quick: Outlook
    full: Outlook
    budget: Budget


def plan_tests(request: PlanRequest, *, rng: np.random.Generator, effort: Effort | None = None
               ) -> Plan:  # fmt: skip
    """Choose speeds, machines and numbers so that the expected interval is narrowest.

    The interval is averaged over all models still alive, over what the tests may show, and over
    the calibration of the machines.

    Parameters
    ----------
    request : PlanRequest
    rng : numpy.random.Generator
        For imagined outcomes and for the order of the tests.
    effort : Effort, optional

    Raises
    ------
    InputError
        No machine is strong enough, or the budget buys no test.

    Examples
    --------
    >>> import numpy as np
    >>> from ratemodel.planning import Machine, PlanRequest, Question, plan_tests
    >>> frame = Machine("frame", 1e-5, 1e-2, setup_s=900)
    >>> request = PlanRequest((frame,), Question("mean", 1.0), hours=4, specimens=10)
    >>> plan = plan_tests(request, rng=np.random.default_rng(1))
    >>> plan.chosen.hours <= 4, plan.chosen.specimens <= 10
    (True, True)
    """
    effort = effort or Effort()
    desk, exponent, found = _set_out(request, effort, rng)
    chosen, bridge = _with_bridge(desk, search(desk.quick, desk.cells, desk.budget))
    chosen, better = _at_least_the_yardsticks(desk, chosen, bridge)
    bridge = None if better else bridge
    table = _table(desk, chosen)
    found += preload_findings(request, [c for c, _ in table[0].tests], exponent)
    found += bridge_findings(separate_groups(request, desk.cells, chosen), bridge)
    found += reach_findings(desk.full, desk.budget.allowed) + gain_findings(table[0].ratio)
    strength = expected_strength(request, desk.full, chosen)
    sheet = test_sheet(request, table[0].tests, strength, rng)
    return Plan(request, table, desk.full.now(), _curve(desk, chosen, effort.curve_points), bridge,
                sheet, strength, tuple(found))  # fmt: skip


def _set_out(request: PlanRequest, effort: Effort, rng: np.random.Generator
             ) -> tuple[_Desk, float, list[Problem]]:  # fmt: skip
    """Cells, outlooks and budget; the damage exponent; findings on the machines."""
    knowledge = know(request, rng)
    exponent = damage_exponent(knowledge)
    cells = all_cells(request, knowledge)
    quick = outlook(request, knowledge.thinned(effort.search_parts, rng), cells,
                    effort.search_outcomes, rng)  # fmt: skip
    judges = knowledge.thinned(effort.judge_parts, rng)
    full = outlook(request, judges, cells, effort.judge_outcomes, rng)
    allowed, found = strong_enough(request, cells, judges, full)
    desk = _Desk(request, cells, quick, full, _budget(request, cells, allowed))
    return desk, exponent, found


def _budget(request: PlanRequest, cells: tuple[Cell, ...], allowed: BoolArray) -> Budget:
    cost = cost_s(cells)
    budget = Budget(request.hours * 3600, request.specimens, cost, allowed, request.least_per_speed)
    cheapest = float(cost[allowed].min()) * budget.least
    if cheapest > budget.seconds:
        raise InputError(
            f"{request.hours:g} machine hours pay for no {budget.least} specimens",
            f"at least {cheapest / 3600:.2g} h, or shorter pulls",
        )
    return budget


def _with_bridge(desk: _Desk, best: IntArray) -> tuple[IntArray, Bridge | None]:
    """The plan with bridge tests where they are needed and cost the answer little."""
    floors = bridge_floors(desk.request, desk.cells, best, desk.budget)
    if not floors:
        return best, None
    without = expected_width(desk.full, best)
    tried = []
    for floor in floors[:4]:
        n = search(desk.quick, desk.cells, desk.budget, floor=floor, seeds=(best,))
        tried.append((expected_width(desk.full, n), floor, n))
    width, floor, n = min(tried, key=lambda t: t[0])
    adopted = width <= BRIDGE_PREMIUM * without
    bridge = describe(desk.cells, floor, desk.request, (width, without), adopted)
    return (n if adopted else best), bridge


def _at_least_the_yardsticks(desk: _Desk, chosen: IntArray, bridge: Bridge | None
                             ) -> tuple[IntArray, bool]:  # fmt: skip
    """The chosen design, or a yardstick that the full mixture judges narrower."""
    mine = expected_width(desk.full, chosen)
    rivals = [two_speeds(desk.cells, desk.budget), evenly_spaced(desk.cells, desk.budget)]
    scored = [(expected_width(desk.full, n), i) for i, n in enumerate(rivals) if n.any()]
    if scored and min(scored)[0] < 0.995 * mine and not (bridge is not None and bridge.adopted):
        return rivals[min(scored)[1]], True
    return chosen, False


def _plain(desk: _Desk) -> tuple[tuple[Cell, ...], Budget]:
    cells = tuple(without_preload(desk.request, c) for c in desk.cells)
    return cells, replace(desk.budget, cost=cost_s(cells))


def _table(desk: _Desk, chosen: IntArray) -> tuple[DesignRow, ...]:
    plain, dear = _plain(desk)
    rows = [_row(desk, CHOSEN, chosen, desk.cells),
            _row(desk, TWO, two_speeds(plain, dear), plain),
            _row(desk, EVEN, evenly_spaced(plain, dear), plain)]  # fmt: skip
    if any(c.preload > 0 for c in desk.cells):
        rows.append(_row(desk, f"{TWO}, with fast preload", two_speeds(desk.cells, desk.budget),
                         desk.cells))  # fmt: skip
        rows.append(_row(desk, f"{EVEN}, with fast preload", evenly_spaced(desk.cells, desk.budget),
                         desk.cells))  # fmt: skip
    return tuple(rows)


def _row(desk: _Desk, name: str, n: IntArray, cells: tuple[Cell, ...]) -> DesignRow:
    width, now = expected_width(desk.full, n), desk.full.now()
    tests = tuple((cells[i], int(n[i])) for i in np.flatnonzero(n))
    ratio = width / now if np.isfinite(now) and now > 0 else None
    return DesignRow(name, tests, int(n.sum()), float(n @ cost_s(cells)) / 3600, width, ratio)


def _curve(desk: _Desk, chosen: IntArray, points: int) -> HoursCurve:
    """Widths for machine hours from the fewest that pay for tests to twice the budget."""
    request, budget = desk.request, desk.budget
    first = float(budget.cost[budget.allowed].min()) * budget.least / 3600
    low = max(first, request.hours / 8)
    spread = np.geomspace(low, 2 * request.hours, max(points, 2))
    hours = np.unique(np.concatenate([spread, [request.hours]]))
    plain, dear = _plain(desk)
    width: dict[str, list[float]] = {CHOSEN: [], TWO: [], EVEN: []}
    best: IntArray | None = None
    for h in hours:
        here, there = replace(budget, seconds=h * 3600), replace(dear, seconds=h * 3600)
        if abs(h - request.hours) < 1e-9:
            best = chosen
        else:
            best = search(desk.quick, desk.cells, here, seeds=() if best is None else (best,))
        width[CHOSEN].append(expected_width(desk.full, best))
        for name, rule in ((TWO, two_speeds), (EVEN, evenly_spaced)):
            n = rule(plain, there)
            width[name].append(expected_width(desk.full, n) if n.any() else float("nan"))
    return HoursCurve(hours, {k: np.array(v) for k, v in width.items()})
