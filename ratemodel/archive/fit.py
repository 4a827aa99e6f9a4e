"""One joint model of all products of an archive."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from ratemodel.archive.cells import Product, noise_of, pad, products_of
from ratemodel.archive.scatter import SharedScatter, shared_scatter
from ratemodel.archive.shared import (
    ArchivePriors,
    HyperGrid,
    Layout,
    SharedDraws,
    Sums,
    hyper_grid,
    layout_of,
    product_sums,
    published_sums,
    shared_draws,
)
from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError, Problem
from ratemodel.records.published import PublishedSlope, published_slopes
from ratemodel.records.tables import Campaign, Series

if TYPE_CHECKING:
    from ratemodel.archive.leave import Score
    from ratemodel.archive.table import ArchiveRow


@dataclass(frozen=True)
class ArchiveSettings:
    """How an archive is analysed.

    Attributes
    ----------
    draws : int
        Joint draws.
    level : float
        Probability held by intervals.
    published : bool
        Whether published slopes take part.
    priors : ArchivePriors
        Scales of the priors.
    """

    draws: int = 4000
    level: float = 0.90
    published: bool = True
    priors: ArchivePriors = field(default_factory=ArchivePriors)


@dataclass(frozen=True)
class Archive:
    """All products with what they share.

    Attributes
    ----------
    products : tuple of Product
        In the order given.
    shared : SharedDraws
        Joint draws of what the products share.
    published : tuple of PublishedSlope
        Members from print, with their sources.
    scatter : SharedScatter
        Distribution of specimen variances over products.
    """

    products: tuple[Product, ...]
    layout: Layout
    grid: HyperGrid
    sums: Sums
    shared: SharedDraws
    scatter: SharedScatter
    published: tuple[PublishedSlope, ...]
    settings: ArchiveSettings
    problems: tuple[Problem, ...]

    def product(self, name: str) -> Product:
        """One product by name."""
        for p in self.products:
            if p.name == name:
                return p
        raise InputError(f"the archive has no product {name!r}",
                         "one of " + ", ".join(p.name for p in self.products[:20]))  # fmt: skip

    def mean_ln(self, name: str, u: FloatArray, *, rng: np.random.Generator) -> FloatArray:
        """Mean of ln S (SI) of a product at log10 rates u (n,), shape (draws, n), joint over u."""
        return self.strength(name, u, rng=rng)[0]

    def strength(self, name: str, u: FloatArray, *, rng: np.random.Generator
                 ) -> tuple[FloatArray, FloatArray]:  # fmt: skip
        """Joint draws of the mean of ln S (draws, n) and of a specimen's scatter (draws,).

        The scatter holds specimens and, where it is known, spools.
        """
        product = self.product(name)
        sigma = self.sigma(name, rng=rng)
        mean = predict(product, u, self.layout, self.shared, (sigma, rng))
        return mean, np.sqrt(sigma**2 + product.batch_sd**2)

    def sigma(self, name: str, *, rng: np.random.Generator) -> FloatArray:
        """Draws of a product's specimen scatter, shape (draws,): its replicates, moderated."""
        product = self.product(name)
        dof, variance = self.scatter.posterior(product.within, product.dof)
        chi = rng.chisquare(dof, size=self.shared.tau.size)
        return np.asarray(np.sqrt(variance * dof / chi))

    def slope(self, fibre: str, construction: str) -> FloatArray:
        """Draws of the mean slope of a group, per decade of ln S; the group must be present."""
        if (fibre, construction) not in self.layout.groups:
            known = ", ".join(f"{f} {c}" for f, c in self.layout.groups)
            raise InputError(f"no group {fibre} {construction}", f"one of {known}")
        return np.asarray(self.shared.beta @ self.layout.slope_row(fibre, construction))

    def table(self, rates_per_s: Sequence[float], *, rng: np.random.Generator
              ) -> tuple[ArchiveRow, ...]:  # fmt: skip
        """Strength of every product at strain rates (1/s); see `archive_table`."""
        from ratemodel.archive.table import archive_table

        return archive_table(self, rates_per_s, rng=rng)

    def leave_one_out(self, *, rng: np.random.Generator) -> Score:
        """Each product's other speeds predicted from one; see `ratemodel.archive.leave`."""
        from ratemodel.archive.leave import leave_one_out

        return leave_one_out(self, rng=rng)

    def decades_beyond(self, name: str, u: FloatArray) -> FloatArray:
        """Decades by which log10 rates lie outside those tested on the product itself."""
        at = self.product(name).u
        return np.asarray(np.maximum(0.0, np.maximum(u - at.max(), at.min() - u)))

    def beyond_all(self, u: FloatArray) -> FloatArray:
        """Decades by which log10 rates lie outside those tested on any product."""
        at = np.concatenate([p.u for p in self.products])
        return np.asarray(np.maximum(0.0, np.maximum(u - at.max(), at.min() - u)))


def fit_archive(archive: Campaign | Sequence[Series], *, rng: np.random.Generator,
                settings: ArchiveSettings | None = None,
                options: Mapping[str, object] | None = None) -> Archive:  # fmt: skip
    """Fit all products of an archive together.

    Parameters
    ----------
    archive : Campaign or sequence of Series
        Products; fibre from ``options["fibre"]`` or ``material``, construction from
        ``options["construction"]``.
    rng : numpy.random.Generator
        Source of randomness.
    settings : ArchiveSettings, optional
        Draws, level, published slopes.
    options : mapping, optional
        As ``Campaign.options``, for machine calibration; a campaign's own by default.

    Raises
    ------
    InputError
        No product with a broken specimen, or two of one name.

    Notes
    -----
    Scatter is read from replicates only and taken as normal and the same at all rates. Machine
    errors are unknowns shared by all products: where all fast pulls were made on one machine and
    all slow ones on another, that difference does not average out over products.
    """
    settings = settings or ArchiveSettings()
    if not 0 < settings.level < 1:
        raise InputError(f"level {settings.level:g}", "above 0 and below 1", column="level")
    if isinstance(archive, Campaign):
        series: Sequence[Series] = tuple(archive.series.values())
        options = archive.options if options is None else options
    else:
        series = tuple(archive)
    products, machines, problems = products_of(series, options or {})
    _check(products)
    published = published_slopes() if settings.published else ()
    layout = layout_of(products, published, machines)
    scatter = shared_scatter(
        np.array([p.within for p in products]), np.array([float(p.dof) for p in products])
    )
    grid = hyper_grid(settings.priors)
    sums = published_sums(published, grid, layout)
    for some in _by_size(products):
        sums = sums.plus(sums_of(some, scatter, grid, layout))
    shared = shared_draws(sums, grid, (layout, settings.priors), settings.draws, rng)
    return Archive(products, layout, grid, sums, shared, scatter, published, settings,
                   (*_findings(products, layout), *problems))  # fmt: skip


def sums_of(products: Sequence[Product], scatter: SharedScatter, grid: HyperGrid, layout: Layout
            ) -> Sums:  # fmt: skip
    """Sums over products, the scatter of each at its moderated centre."""
    variance = np.array([scatter.posterior(p.within, p.dof)[1] for p in products])
    rows = [layout.cell_rows(p) for p in products]
    return product_sums(pad(products, variance, rows), grid, layout)


def predict(product: Product, u: FloatArray, layout: Layout, shared: SharedDraws,
            own: tuple[FloatArray, np.random.Generator]) -> FloatArray:  # fmt: skip
    """Mean of ln S at log10 rates u in every draw: level, slope and departure given the cells.

    Universal kriging with an unknown level (Cressie 1993, section 3.4); ``own`` holds the draws of
    the specimen scatter and the random numbers.
    """
    sigma, rng = own
    at = np.concatenate([product.u, u])
    k = product.u.size
    x = at - layout.origin
    walk = np.minimum(at[:, None], at) - min(float(at.min()), float(layout.knots[0]))
    tau2, kappa2 = shared.tau[:, None, None] ** 2, shared.kappa[:, None, None] ** 2
    cov = tau2 * np.outer(x, x) + kappa2 * walk
    fixed = noise_of(product, 0.0)
    spread = np.diag(1 / product.count)
    w = np.linalg.inv(cov[:, :k, :k] + fixed + sigma[:, None, None] ** 2 * spread)
    one = w.sum(axis=2)
    s11 = one.sum(axis=1)
    r = product.mean - shared.beta @ layout.cell_rows(product).T
    level = (one * r).sum(axis=1) / s11
    cross = cov[:, k:, :k]
    gain = cross @ w
    mean = level[:, None] + np.einsum("dnc,dc->dn", gain, r - level[:, None])
    rest = 1.0 - gain.sum(axis=2)
    v = cov[:, k:, k:] - gain @ np.swapaxes(cross, 1, 2)
    v += rest[:, :, None] * rest[:, None, :] / s11[:, None, None]
    v += 1e-14 * np.eye(u.size)
    values, vectors = np.linalg.eigh(v)
    z = np.sqrt(np.maximum(values, 0.0)) * rng.standard_normal(mean.shape)
    return np.asarray(mean + shared.beta @ layout.rows(product, u).T
                      + np.einsum("dnm,dm->dn", vectors, z))  # fmt: skip


def _by_size(products: Sequence[Product]) -> list[list[Product]]:
    """Products in groups of like cell counts, so that padding stays small."""
    groups: dict[int, list[Product]] = {}
    for p in products:
        groups.setdefault(int(np.ceil(np.log2(max(p.u.size, 1)))), []).append(p)
    return list(groups.values())


def _check(products: Sequence[Product]) -> None:
    if not products:
        raise InputError("no product of the archive has a broken specimen", "at least one")
    names = [p.name for p in products]
    twice = sorted({n for n in names if names.count(n) > 1})
    if twice:
        raise InputError(f"two products are named {twice[0]}", "a name of its own for each")


def _findings(products: Sequence[Product], layout: Layout) -> list[Problem]:
    several = sum(p.speeds.size >= 2 for p in products)
    out = []
    if several < 5:
        out.append(Problem(
            "archive-few-speeds",
            f"{several} of {len(products)} products were tested at two speeds: how much rate "
            "effects differ between products rests mostly on priors and published slopes; test "
            "more products at a second speed",
            "serious" if several == 0 else "caution",
        ))  # fmt: skip
    for i, name in enumerate(layout.machines.names):
        used = np.concatenate([p.u[p.machine == i] for p in products])
        others = np.concatenate([p.u[p.machine != i] for p in products])
        if others.size and float(np.abs(used[:, None] - others).min()) > 0.15:
            out.append(Problem(
                "machine-and-rate-confounded",
                f"machine {name or '(no name)'} shares no speed with any other: its calibration "
                "can not be told from the rate effect, in all products alike; run one speed on "
                "two machines (bridge tests)",
            ))  # fmt: skip
    return out
