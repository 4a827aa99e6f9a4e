r"""What the products of an archive share, and its exact posterior.

Cell means of product i, with a level of its own and a slope of its own:

.. math:: \bar y_{ic} = a_i + b_i x_c + \delta_i(u_c) + \beta(u_c) + m_{k(c)} + e_{ic},
   \qquad b_i \sim N(\mu_{g(i)}, \tau^2)

a flat; delta a Brownian departure of the product (variance kappa^2 per decade), beta one shared by
all products, linear between whole decades; m the machines' calibration. The slope of a group is
:math:`\mu_g = M + f_\text{fibre} + c_\text{construction} + d_g`, each part with variance
omega^2 / 3. Given (tau, kappa, omega) all is normal: a_i, b_i and delta_i are integrated product by
product, the shared unknowns (M, f, c, d, beta, m) jointly; (tau, kappa, omega) lie on a grid of
equal prior probability. Published slopes are further products of which only the slope is seen.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from ratemodel.archive.cells import Machines, Padded, Product
from ratemodel.arrays import FloatArray
from ratemodel.records.published import PublishedSlope


@dataclass(frozen=True)
class ArchivePriors:
    """Scales of the priors, per decade; half-normal where they are those of a spread.

    Attributes
    ----------
    slope_sd : float
        Of the overall slope M: as the slope of a single series.
    between_products, between_groups : float
        Half-normal scale of tau and of omega: published slopes of different fibres and
        constructions differ by some 3 % per decade, products of one group by less.
    departure : float
        Half-normal scale of kappa, per square root of a decade: as the departure of a single
        series.
    shared_departure : float
        Standard deviation of the departure that all share, per square root of a decade: a heat
        step of 12 % within two decades lies at two standard deviations.
    beyond : float
        The same beyond the rates tested on any product, where nothing tells whether a heat step
        of some 12 % follows.
    """

    slope_sd: float = 0.04
    between_products: float = 0.02
    between_groups: float = 0.03
    departure: float = 0.012
    shared_departure: float = 0.04
    beyond: float = 0.07


#: Grid points for tau, kappa and omega.
GRID = (40, 6, 6)
#: Whole decades beyond the archive's rates for which a shared departure is carried.
BEYOND = 3


@dataclass(frozen=True)
class Layout:
    """Columns of the shared unknowns.

    Order: M, fibres, constructions, groups, shared departure (one step per decade), machines.
    ``origin`` is the log10 rate at which slopes and departure start, ``knots`` the decades.
    """

    fibres: tuple[str, ...]
    constructions: tuple[str, ...]
    groups: tuple[tuple[str, str], ...]
    knots: FloatArray
    origin: float
    machines: Machines

    @property
    def size(self) -> int:
        """Number of shared unknowns."""
        return self.departure + self.knots.size - 1 + len(self.machines.names)

    @property
    def departure(self) -> int:
        """First column of the shared departure."""
        return 1 + len(self.fibres) + len(self.constructions) + len(self.groups)

    def slope_row(self, fibre: str, construction: str) -> FloatArray:
        """Row (q,) that gives a group's slope."""
        row = np.zeros(self.size)
        row[0] = 1.0
        row[1 + self.fibres.index(fibre)] = 1.0
        row[1 + len(self.fibres) + self.constructions.index(construction)] = 1.0
        start = 1 + len(self.fibres) + len(self.constructions)
        row[start + self.groups.index((fibre, construction))] = 1.0
        return row

    def rows(self, product: Product, u: FloatArray) -> FloatArray:
        """Rows (n, q) of a product's mean at log10 rates u, machines left out."""
        out = (u - self.origin)[:, None] * self.slope_row(product.fibre, product.construction)
        steps = np.clip((u[:, None] - self.knots[:-1]) / np.diff(self.knots), 0.0, 1.0)
        zero = np.clip((self.origin - self.knots[:-1]) / np.diff(self.knots), 0.0, 1.0)
        out[:, self.departure : self.departure + self.knots.size - 1] = steps - zero
        return out

    def cell_rows(self, product: Product) -> FloatArray:
        """Rows (cells, q) of a product's cell means, machines included."""
        out = self.rows(product, product.u)
        first = self.size - len(self.machines.names)
        out[np.arange(product.u.size), first + product.machine] = 1.0
        return out

    def prior_precision(self, omega: float, priors: ArchivePriors) -> FloatArray:
        """Precision (q,) of the shared unknowns."""
        parts = self.departure - 1
        spread = np.full(self.knots.size - 1, priors.shared_departure)
        spread[:BEYOND] = spread[-BEYOND:] = priors.beyond
        step = spread * np.sqrt(np.diff(self.knots))
        return np.concatenate([
            [priors.slope_sd**-2],
            np.full(parts, 3.0 / max(omega, 1e-6) ** 2),
            step**-2,
            self.machines.sd**-2,
        ])  # fmt: skip


def layout_of(products: Sequence[Product], published: Sequence[PublishedSlope], machines: Machines
              ) -> Layout:  # fmt: skip
    """Columns for these products and published slopes."""
    pairs = [(p.fibre, p.construction) for p in products]
    pairs += [(p.fibre, p.construction) for p in published]
    u = np.concatenate([p.u for p in products])
    low, high = np.floor(u.min()) - BEYOND, np.ceil(u.max()) + BEYOND
    return Layout(
        tuple(sorted({f for f, _ in pairs})), tuple(sorted({c for _, c in pairs})),
        tuple(sorted(set(pairs))), np.arange(low, high + 0.5), float(np.median(u)), machines,
    )  # fmt: skip


@dataclass(frozen=True)
class Sums:
    """What data say of the shared unknowns at each (tau, kappa), leading shape (h,)."""

    gram: FloatArray
    right: FloatArray
    log: FloatArray

    def plus(self, other: Sums, sign: float = 1.0) -> Sums:
        """Sum (or difference) of two."""
        return Sums(self.gram + sign * other.gram, self.right + sign * other.right,
                    self.log + sign * other.log)  # fmt: skip


@dataclass(frozen=True)
class HyperGrid:
    """(tau, kappa) of shape (h,) and omega of shape (w,), all equally likely beforehand."""

    tau: FloatArray
    kappa: FloatArray
    omega: FloatArray


def hyper_grid(priors: ArchivePriors) -> HyperGrid:
    """Half-normal quantiles at the middle of equal steps of probability."""
    t, k, w = (np.asarray(ndtri((1 + (np.arange(n) + 0.5) / n) / 2)) for n in GRID)
    tau, kappa = np.meshgrid(priors.between_products * t, priors.departure * k, indexing="ij")
    return HyperGrid(tau.ravel(), kappa.ravel(), priors.between_groups * w)


def product_sums(data: Padded, grid: HyperGrid, layout: Layout) -> Sums:
    """Sums over products, their levels, slopes and departures integrated."""
    q = layout.size
    h = grid.tau.size
    out = Sums(np.empty((h, q, q)), np.empty((h, q)), np.empty(h))
    x = (data.u - layout.origin) * data.real
    both = data.real[:, :, None] * data.real[:, None, :]
    walk = np.minimum(data.u[:, :, None], data.u[:, None, :]) - layout.knots[0]
    slope, walk = x[:, :, None] * x[:, None, :], walk * both
    for i, (tau, kappa) in enumerate(zip(grid.tau, grid.kappa, strict=True)):
        v = data.noise + tau**2 * slope + kappa**2 * walk
        w = np.linalg.inv(v)
        w1 = np.einsum("pcd,pd->pc", w, data.real)
        s11 = (w1 * data.real).sum(axis=1)
        w = w - w1[:, :, None] * w1[:, None, :] / s11[:, None, None]
        wx = w @ data.design
        out.gram[i] = np.einsum("pcq,pcr->qr", data.design, wx, optimize=True)
        out.right[i] = np.einsum("pcq,pc->q", wx, data.y)
        square = np.einsum("pc,pcd,pd->", data.y, w, data.y, optimize=True)
        log_det = np.linalg.slogdet(v)[1].sum()
        out.log[i] = -0.5 * (log_det + np.log(s11).sum() + square)
    return out


def published_sums(published: Sequence[PublishedSlope], grid: HyperGrid, layout: Layout) -> Sums:
    """Sums over published slopes: b ~ N(mu_g, tau^2 + kappa^2 / decades + sd^2)."""
    q, h = layout.size, grid.tau.size
    out = Sums(np.zeros((h, q, q)), np.zeros((h, q)), np.zeros(h))
    for p in published:
        row = layout.slope_row(p.fibre, p.construction)
        v = grid.tau**2 + grid.kappa**2 / p.decades + p.sd**2
        out.gram[:] += np.outer(row, row) / v[:, None, None]
        out.right[:] += row * (p.slope / v)[:, None]
        out.log[:] += -0.5 * (np.log(v) + p.slope**2 / v)
    return out


@dataclass(frozen=True)
class SharedDraws:
    """Joint draws of (tau, kappa, omega) and of the shared unknowns, (draws,) and (draws, q)."""

    tau: FloatArray
    kappa: FloatArray
    omega: FloatArray
    beta: FloatArray


def shared_draws(sums: Sums, grid: HyperGrid, setup: tuple[Layout, ArchivePriors], count: int,
                 rng: np.random.Generator) -> SharedDraws:  # fmt: skip
    """Exact joint draws, by the weight of every grid point."""
    layout, priors = setup
    h, w = grid.tau.size, grid.omega.size
    log_weight = np.empty((h, w))
    for j, omega in enumerate(grid.omega):
        precision = layout.prior_precision(float(omega), priors)
        a = sums.gram + np.diag(precision)
        chol = np.linalg.cholesky(a)
        mean = np.linalg.solve(a, sums.right[:, :, None])[:, :, 0]
        half = np.log(np.diagonal(chol, axis1=1, axis2=2)).sum(axis=1)
        log_weight[:, j] = (
            sums.log + 0.5 * np.log(precision).sum() - half + 0.5 * (mean * sums.right).sum(axis=1)
        )
    p = np.exp(log_weight - log_weight.max()).ravel()
    at = (np.arange(count) + rng.uniform()) / count * p.sum()
    index = rng.permutation(np.minimum(np.searchsorted(np.cumsum(p), at), p.size - 1))
    row, column = index // w, index % w
    beta = np.empty((count, layout.size))
    z = rng.standard_normal((count, layout.size))
    for point in np.unique(index):
        mine = index == point
        precision = layout.prior_precision(float(grid.omega[point % w]), priors)
        a = sums.gram[point // w] + np.diag(precision)
        root = np.linalg.inv(np.linalg.cholesky(a))
        beta[mine] = np.linalg.solve(a, sums.right[point // w]) + z[mine] @ root
    return SharedDraws(grid.tau[row], grid.kappa[row], grid.omega[column], beta)
