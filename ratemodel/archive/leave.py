"""Leave one product out: hide all but one of its speeds, predict the hidden ones, compare."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ratemodel.archive.cells import Product
from ratemodel.archive.fit import Archive, predict, sums_of
from ratemodel.archive.shared import shared_draws
from ratemodel.arrays import BoolArray
from ratemodel.comparing.claims import Interval, interval_of


@dataclass(frozen=True)
class LeftOut:
    """One hidden cell: mean of its specimens as seen, and as predicted without it (SI).

    ``probability`` is where the seen value lies in the prediction, 0 to 1: evenly spread over many
    products where the archive is honest.
    """

    product: str
    strain_rate_per_s: float
    decades: float
    specimens: int
    seen: float
    predicted: Interval
    probability: float

    @property
    def inside(self) -> bool:
        """Whether the interval holds the value seen."""
        return self.predicted.low <= self.seen <= self.predicted.high


@dataclass(frozen=True)
class Score:
    """All hidden cells, and the share that lay inside its interval."""

    level: float
    cells: tuple[LeftOut, ...]

    @property
    def inside(self) -> float:
        """Share inside; not a number where nothing could be hidden."""
        if not self.cells:
            return float("nan")
        return float(np.mean([c.inside for c in self.cells]))

    def sentence(self) -> str:
        """The check in words."""
        if not self.cells:
            return (
                "No product was tested at two speeds: the archive could not be checked on itself."
            )
        within = sum(c.inside for c in self.cells)
        return (
            f"Left out one product at a time and predicted its other speeds from one: {within} of "
            f"{len(self.cells)} means lay inside their {100 * self.level:g} % interval."
        )


def leave_one_out(archive: Archive, *, rng: np.random.Generator) -> Score:
    """Predict each product of two or more speeds from its best tested speed and the others.

    The prediction is for the mean of the hidden specimens as read on their machine, their number
    and scatter included, so that it is fair to compare with what was seen.
    """
    cells: list[LeftOut] = []
    for product in archive.products:
        if product.speeds.size < 2:
            continue
        keep = _kept(product)
        cells += _hide(archive, product, keep, rng)
    return Score(archive.settings.level, tuple(cells))


def _kept(product: Product) -> BoolArray:
    """Cells of the speed with most specimens; the faster of equals."""
    totals = [float(product.count[np.abs(product.u - s) <= 0.15].sum()) for s in product.speeds]
    best = max(range(len(totals)), key=lambda i: (totals[i], i))
    return np.asarray(np.abs(product.u - product.speeds[best]) <= 0.15)


def _hide(archive: Archive, product: Product, keep: BoolArray, rng: np.random.Generator
          ) -> list[LeftOut]:  # fmt: skip
    layout, grid = archive.layout, archive.grid
    part = product.only(keep)
    sums = archive.sums.plus(sums_of([product], archive.scatter, grid, layout), -1.0)
    sums = sums.plus(sums_of([part], archive.scatter, grid, layout))
    setup = (layout, archive.settings.priors)
    shared = shared_draws(sums, grid, setup, archive.settings.draws, rng)
    sigma = archive.sigma(product.name, rng=rng)
    hidden = product.only(~keep)
    mean = predict(part, hidden.u, layout, shared, (sigma, rng))
    machines = shared.beta[:, layout.size - len(layout.machines.names) :]
    read = mean + machines[:, hidden.machine]
    noise = np.sqrt(sigma[:, None] ** 2 / hidden.count + product.batch_sd**2)
    read = read + noise * rng.standard_normal(read.shape)
    return [
        LeftOut(
            product.name, float(10 ** hidden.u[i]), float(np.abs(hidden.u[i] - part.u).min()),
            int(hidden.count[i]), float(np.exp(hidden.mean[i])),
            interval_of(np.exp(read[:, i]), archive.settings.level),
            float(np.mean(read[:, i] < hidden.mean[i])),
        )
        for i in range(hidden.u.size)
    ]  # fmt: skip
