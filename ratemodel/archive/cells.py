"""Products of an archive as cells of equal rate, spool and machine, padded to one shape."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ratemodel.arrays import BoolArray, FloatArray, IntArray
from ratemodel.errors import Problem
from ratemodel.inference.data import rate_data
from ratemodel.inference.priors import default_priors
from ratemodel.records.tables import Series

#: Mean of the half-normal prior of spool scatter that `default_priors` holds (sd 0.022).
SPOOL_SD = 0.022 * float(np.sqrt(2 / np.pi))


@dataclass(frozen=True)
class Product:
    """One series reduced to cells.

    Attributes
    ----------
    u, mean, count : ndarray, shape (cells,)
        log10 strain rate (1/s), mean of ln strength (SI), number of specimens.
    machine, batch : ndarray of int, shape (cells,)
        Index among the archive's machines; index of the spool within the product.
    within, dof : float
        Sum of squares within cells and its degrees of freedom.
    batch_sd : float
        Spool scatter of ln S taken for the product; 0 where it neither shows nor is stated.
    """

    name: str
    fibre: str
    construction: str
    u: FloatArray
    mean: FloatArray
    count: FloatArray
    machine: IntArray
    batch: IntArray
    within: float
    dof: int
    batch_sd: float

    @property
    def speeds(self) -> FloatArray:
        """Distinct log10 rates, ascending; within 0.15 decade they count as one."""
        ordered = np.sort(self.u)
        return np.asarray(ordered[np.concatenate([[True], np.diff(ordered) > 0.15])])

    def only(self, keep: BoolArray) -> Product:
        """The product with some of its cells; what is known of its scatter stays."""
        return Product(self.name, self.fibre, self.construction, self.u[keep], self.mean[keep],
                       self.count[keep], self.machine[keep], self.batch[keep], self.within,
                       self.dof, self.batch_sd)  # fmt: skip


@dataclass(frozen=True)
class Machines:
    """Machines of an archive and the standard deviation of their calibration."""

    names: tuple[str, ...]
    sd: FloatArray


def products_of(series: Sequence[Series], options: Mapping[str, object]
                ) -> tuple[tuple[Product, ...], Machines, tuple[Problem, ...]]:  # fmt: skip
    """Cells of every series, the machines they meet on, and what was left out."""
    sds: dict[str, float] = {}
    for one in series:
        priors = default_priors(one, options)
        for name in set(one.used.machine):
            sds[name] = max(priors.machine(name), 1e-6)
    names = tuple(sorted(sds))
    machines = Machines(names, np.array([sds[n] for n in names]))
    products, problems = [], []
    for one in series:
        product, found = _product(one, names)
        problems += found
        if product is not None:
            products.append(product)
    return tuple(products), machines, tuple(problems)


def _product(series: Series, machines: tuple[str, ...]
             ) -> tuple[Product | None, list[Problem]]:  # fmt: skip
    data = rate_data(series)
    found = []
    broke = data.broke
    if not broke.all():
        found.append(Problem(
            "archive-held-specimens-left-out",
            f"{series.name}: {int((~broke).sum())} specimen(s) did not break and are left out of "
            "the archive, which reads its strength too low; fit the series by itself as well",
        ))  # fmt: skip
    if not broke.any():
        return None, found
    if data.covariate_names:
        found.append(Problem(
            "archive-conditions-mixed",
            f"{series.name}: {' and '.join(data.covariate_names)} differ within the series and "
            "are not told apart in the archive; make a series of each state",
        ))  # fmt: skip
    groups, first, code = np.unique(data.group[broke], return_index=True, return_inverse=True)
    y = data.y[broke]
    count = np.bincount(code, minlength=groups.size).astype(np.float64)
    mean = np.bincount(code, weights=y) / count
    to_all = np.array([machines.index(n) for n in data.machines], dtype=np.int64)
    spools = len(data.batches) >= 2 or series.batch_sd_fraction is not None
    given = series.batch_sd_fraction
    sd = (given if given is not None else SPOOL_SD) if spools else 0.0
    fibre = str(series.options.get("fibre") or series.material or "unstated")
    construction = str(series.options.get("construction") or "unstated")
    return Product(
        series.name, fibre.strip(), construction.strip(), data.u[broke][first], mean, count,
        to_all[data.machine[broke][first]], data.batch[broke][first],
        float(((y - mean[code]) ** 2).sum()), int(y.size - groups.size), float(sd),
    ), found  # fmt: skip


@dataclass(frozen=True)
class Padded:
    """Products side by side, shape (products, cells); a padded cell carries nothing.

    Attributes
    ----------
    real : ndarray
        1 for a cell, 0 for padding.
    noise : ndarray, shape (products, cells, cells)
        Covariance of cell means from specimen and spool scatter; 1 on padded diagonals.
    design : ndarray, shape (products, cells, q)
        Row of the shared unknowns for every cell.
    """

    u: FloatArray
    y: FloatArray
    real: FloatArray
    noise: FloatArray
    design: FloatArray


def pad(products: Sequence[Product], variance: FloatArray, rows: Sequence[FloatArray]) -> Padded:
    """Arrange products for batched algebra, with the scatter variance of each."""
    c = max(p.u.size for p in products)
    n, q = len(products), rows[0].shape[1]
    u, y, real = np.zeros((n, c)), np.zeros((n, c)), np.zeros((n, c))
    noise = np.tile(np.eye(c), (n, 1, 1))
    design = np.zeros((n, c, q))
    for i, p in enumerate(products):
        k = p.u.size
        u[i, :k], y[i, :k], real[i, :k] = p.u, p.mean, 1.0
        noise[i, :k, :k] = noise_of(p, float(variance[i]))
        design[i, :k] = rows[i]
    return Padded(u, y, real, noise, design)


def noise_of(product: Product, variance: float) -> FloatArray:
    """Covariance of a product's cell means from specimen scatter and spools."""
    same = product.batch[:, None] == product.batch[None, :]
    return np.asarray(np.diag(variance / product.count) + product.batch_sd**2 * same)
