"""The tests in the order in which to make them: randomised, blocked over spools and machines."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ratemodel.planning.cells import Cell
from ratemodel.planning.lab import PlanRequest


@dataclass(frozen=True)
class SheetRow:
    """One pull.

    Attributes
    ----------
    order, block : int
        From 1; a block is one session holding every speed.
    specimen : str
        Name to write on the specimen.
    spool : str
        Where to cut it from; empty where there is one spool without a name.
    preload_fraction : float
        Fast preload as a fraction of the expected strength; 0 = none.
    preload_N : float or None
        The same as a force, where the strength is known.
    seconds : float
        Machine time, set-up included.
    """

    order: int
    block: int
    specimen: str
    spool: str
    machine: str
    strain_rate_per_s: float
    speed_m_per_s: float
    preload_fraction: float
    preload_N: float | None
    preload_speed_m_per_s: float
    seconds: float


@dataclass(frozen=True)
class TestSheet:
    """What to take to the machine."""

    __test__ = False  # not a test for pytest to collect

    series: str
    free_length_m: float
    rows: tuple[SheetRow, ...]

    @property
    def hours(self) -> float:
        """Machine hours of all rows."""
        return sum(r.seconds for r in self.rows) / 3600.0


def test_sheet(request: PlanRequest, tests: Sequence[tuple[Cell, int]],
               strength_N: float | None, rng: np.random.Generator) -> TestSheet:  # fmt: skip
    """Rows in a random order that keeps drift, spool and machine out of the rate effect.

    Every speed takes its specimens from the spools in turn, so that no spool has more than one
    specimen more than another at any speed. Sessions (blocks) hold a like share of every speed;
    inside one the machines, and the speeds on each, come in random order.

    References
    ----------
    Box, Hunter & Hunter, Statistics for Experimenters (1978), blocking and randomisation (from
    memory).
    """
    spools = list(_spools(request))
    rng.shuffle(spools)
    placed: list[tuple[int, Cell, str]] = []
    turn = 0
    blocks = max(2, min((n for _, n in tests), default=1))
    for i in rng.permutation(len(tests)):
        cell, n = tests[int(i)]
        mine = [spools[(turn + k) % len(spools)] for k in range(n)]
        turn += n
        rng.shuffle(mine)
        first = int(rng.integers(blocks))
        placed += [((first + k) % blocks, cell, spool) for k, spool in enumerate(mine)]
    ordered: list[tuple[int, Cell, str]] = []
    for block in range(blocks):
        inside = [p for p in placed if p[0] == block]
        machines = sorted({p[1].machine.name for p in inside})
        for m in rng.permutation(len(machines)):
            group = [p for p in inside if p[1].machine.name == machines[int(m)]]
            ordered += [group[int(k)] for k in rng.permutation(len(group))]
    prefix = _prefix(request)
    rows = tuple(
        _row(request, (k + 1, f"{prefix}{k + 1:03d}"), one, strength_N)
        for k, one in enumerate(ordered)
    )
    name = request.product.name if request.product is not None else "new product"
    return TestSheet(name, request.free_length_m, rows)


def _row(request: PlanRequest, label: tuple[int, str], one: tuple[int, Cell, str],
         strength_N: float | None) -> SheetRow:  # fmt: skip
    block, cell, spool = one
    force = cell.preload * strength_N if strength_N is not None and cell.preload > 0 else None
    return SheetRow(label[0], block + 1, label[1], spool, cell.machine.name,
                    cell.strain_rate_per_s, cell.strain_rate_per_s * request.free_length_m,
                    cell.preload, force, cell.machine.speed_max_m_per_s, cell.seconds)  # fmt: skip


def _spools(request: PlanRequest) -> tuple[str, ...]:
    if request.spools:
        return request.spools
    return request.known.data.batches if request.known is not None else ("",)


def _prefix(request: PlanRequest) -> str:
    """Start of new specimen names that none of the tested ones has."""
    product = request.product
    taken = (*product.used.specimen, *product.set_aside.specimen) if product is not None else ()
    for k in range(1, len(taken) + 2):
        prefix = "plan-" if k == 1 else f"plan{k}-"
        if not any(t.lower().startswith(prefix) for t in taken):
            return prefix
    raise AssertionError("more prefixes than names were tried")


# pytest would take a function of this name for a test wherever a test module imports it.
test_sheet.__test__ = False  # type: ignore[attr-defined]
