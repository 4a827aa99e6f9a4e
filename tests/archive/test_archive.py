"""The archive against dense normal algebra, exact special cases, refits, and simulated truth."""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from made import series
from scipy import stats

from ratemodel.archive import ArchiveSettings, fit_archive, leave_one_out
from ratemodel.archive.fit import predict, sums_of
from ratemodel.archive.scatter import inverse_trigamma, shared_scatter
from ratemodel.archive.shared import HyperGrid, shared_draws
from ratemodel.errors import InputError
from ratemodel.records.published import published_slopes
from ratemodel.records.tables import Campaign

sys.path.insert(0, str(Path(__file__).parents[1] / "studies"))
from archive_coverage import FAST, SLOW, make_archive, one_archive


def cord(name, u, y, *, construction="braid", material="HMPE", **kwargs):
    u = np.asarray(u, float)
    kwargs.setdefault("machine", ["m"] * u.size)
    s = series(u, y, material=material, options={"construction": construction}, **kwargs)
    return replace(s, name=name)


def small_archive():
    """Five products: bridge machine, three speeds, two groups."""
    rng = np.random.default_rng(12)

    def pulled(level, speeds, machines):
        u = np.repeat(speeds, 4)
        names = [m for m in machines for _ in range(4)]
        return u, level - 0.02 * u + 0.02 * rng.standard_normal(u.size), names

    plans = [
        ("a", "braid", [-4.0, -1.0], ["s", "f"]),
        ("b", "braid", [-1.0], ["f"]),
        ("c", "webbing", [-3.0, -3.0, -1.0], ["s", "f", "f"]),
        ("d", "webbing", [-1.0, 0.5], ["f", "f"]),
        ("e", "braid", [-2.0], ["s"]),
    ]
    out = []
    for i, (name, construction, speeds, machines) in enumerate(plans):
        u, y, names = pulled(9.0 + 0.3 * i, speeds, machines)
        out.append(cord(name, u, y, construction=construction, machine=names))
    return out


def dense(archive, tau, kappa, omega, sigma, target, at):
    """Mean and covariance of a product at rates ``at``: one joint normal of everything."""
    layout, priors = archive.layout, archive.settings.priors
    rows, y, cov, owner, u, level = [], [], [], [], [], []
    for i, p in enumerate(archive.products):
        points = np.concatenate([p.u, at]) if p.name == target else p.u
        full = layout.rows(p, points)
        full[: p.u.size] = layout.cell_rows(p)
        rows.append(full)
        y.append(np.concatenate([p.mean, np.full(points.size - p.u.size, np.nan)]))
        noise = np.concatenate([sigma[i] ** 2 / p.count, np.zeros(points.size - p.u.size)])
        cov.append(noise)
        owner.append(np.full(points.size, i))
        u.append(points)
    rows, y, noise = np.concatenate(rows), np.concatenate(y), np.concatenate(cov)
    owner, u = np.concatenate(owner), np.concatenate(u)
    same = owner[:, None] == owner
    x = u - layout.origin
    walk = np.minimum(u[:, None], u) + 10.0
    level = same * 1e4
    prior = np.diag(1 / layout.prior_precision(omega, priors))
    full = (rows @ prior @ rows.T + np.diag(noise) + level
            + same * (tau**2 * np.outer(x, x) + kappa**2 * walk))  # fmt: skip
    seen = np.isfinite(y)
    centre = 9.6
    gain = np.linalg.solve(full[np.ix_(seen, seen)], full[np.ix_(seen, ~seen)]).T
    mean = centre + gain @ (y[seen] - centre)
    return mean, full[np.ix_(~seen, ~seen)] - gain @ full[np.ix_(seen, ~seen)]


@pytest.mark.parametrize("target", ["a", "b", "c"])
def test_predictions_equal_one_dense_normal(target):
    """Conditioning of one joint normal with a vague level, for given tau, kappa, omega, scatter."""
    some = ArchiveSettings(published=False)
    archive = fit_archive(small_archive(), rng=np.random.default_rng(1), settings=some)
    tau, kappa, omega, at = 0.015, 0.009, 0.02, np.array([-4.5, -3.0, -1.0, 1.2])
    grid = HyperGrid(np.array([tau]), np.array([kappa]), np.array([omega]))
    sums = sums_of(archive.products, archive.scatter, grid, archive.layout)
    rng = np.random.default_rng(3)
    shared = shared_draws(sums, grid, (archive.layout, some.priors), 40_000, rng)
    sigma = [archive.scatter.posterior(p.within, p.dof)[1] ** 0.5 for p in archive.products]
    i = [p.name for p in archive.products].index(target)
    own = (np.full(40_000, sigma[i]), rng)
    got = predict(archive.products[i], at, archive.layout, shared, own)
    mean, cov = dense(archive, tau, kappa, omega, sigma, target, at)
    sd = np.sqrt(np.diag(cov))
    assert (got.mean(axis=0) - mean) / sd == pytest.approx(np.zeros(at.size), abs=0.03)
    assert np.cov(got.T) == pytest.approx(cov, abs=0.03 * sd.max() ** 2)


def test_one_product_at_one_speed_is_students_t_with_its_machine():
    """Scatter worth 4 extra degrees of freedom by the stated rule; calibration beside it."""
    y = 9 + 0.02 * np.random.default_rng(2).standard_normal(6)
    options = {"machine": {"m": {"calibration_sd_fraction": 0.0}}}
    archive = fit_archive([cord("a", [-1.0] * 6, y)], rng=np.random.default_rng(1),
                          options=options, settings=ArchiveSettings(draws=20_000))  # fmt: skip
    got = np.quantile(archive.mean_ln("a", np.array([-1.0]), rng=np.random.default_rng(2)),
                      [0.05, 0.95])  # fmt: skip
    half = stats.t.ppf(0.95, 9) * y.std(ddof=1) / np.sqrt(6)
    assert got == pytest.approx([y.mean() - half, y.mean() + half], abs=0.04 * half)


def test_rates_of_one_call_are_joint_and_specimens_scatter_more():
    archive = fit_archive(small_archive(), rng=np.random.default_rng(1))
    mean, scatter = archive.strength("b", np.array([-4.0, -3.9]), rng=np.random.default_rng(1))
    assert np.corrcoef(mean.T)[0, 1] > 0.99
    rows = archive.table([1e-4, 0.1], rng=np.random.default_rng(1))
    assert len(rows) == 10
    for row in rows:
        assert row.specimen.low < row.mean.low < row.mean.high < row.specimen.high
        assert row.lower_bound < row.mean.low
    far = {(r.product, r.strain_rate_per_s): r for r in rows}
    assert far["b", 1e-4].decades_beyond == pytest.approx(3.0)
    assert far["b", 1e-4].beyond_all == 0.0
    shock = archive.table([100.0], rng=np.random.default_rng(1))[0]
    assert shock.beyond_all == pytest.approx(1.5)
    assert shock.decades_beyond == pytest.approx(3.0)
    assert far["b", 1e-4].shared
    assert not far["a", 1e-4].shared
    wide = far["b", 1e-4].mean, far["b", 0.1].mean
    assert wide[0].high / wide[0].low > wide[1].high / wide[1].low
    assert scatter.shape == (archive.settings.draws,)


def test_order_of_products_changes_nothing_but_random_numbers():
    given = small_archive()
    some = ArchiveSettings(draws=8000)
    forth = fit_archive(given, rng=np.random.default_rng(1), settings=some)
    back = fit_archive(given[::-1], rng=np.random.default_rng(2), settings=some)
    assert back.sums.gram == pytest.approx(forth.sums.gram, rel=1e-9, abs=1e-6)
    q = [np.quantile(a.slope("HMPE", "braid"), [0.1, 0.5, 0.9]) for a in (forth, back)]
    assert q[0] == pytest.approx(q[1], abs=0.0015)


def test_leaving_out_equals_a_fit_without_the_hidden_tests():
    given = small_archive()
    some = ArchiveSettings(draws=20_000)
    archive = fit_archive(given, rng=np.random.default_rng(1), settings=some)
    cell = next(c for c in leave_one_out(archive, rng=np.random.default_rng(2)).cells
                if c.product == "d")  # fmt: skip
    kept = given[3].used
    hide = np.abs(np.log10(kept.strain_rate_per_s) - np.log10(cell.strain_rate_per_s)) < 0.1
    part = cord("d", np.log10(kept.strain_rate_per_s[~hide]), np.log(kept.strength[~hide]),
                construction="webbing", machine=["f"] * 4)  # fmt: skip
    fewer = fit_archive([*given[:3], part, given[4]], rng=np.random.default_rng(3), settings=some)
    u = np.array([np.log10(cell.strain_rate_per_s)])
    mean = fewer.mean_ln("d", u, rng=np.random.default_rng(4))[:, 0]
    mean = mean + fewer.shared.beta[:, fewer.layout.size - 2]
    sigma = fewer.sigma("d", rng=np.random.default_rng(5))
    read = mean + sigma / 2 * np.random.default_rng(6).standard_normal(mean.size)
    ends = [cell.predicted.low, cell.predicted.median, cell.predicted.high]
    want = np.quantile(read, [0.05, 0.5, 0.95])
    assert np.log(ends) == pytest.approx(want, abs=0.06 * (want[2] - want[0]))


def test_leave_one_out_of_a_simulated_archive_holds_its_level():
    found, _ = make_archive(np.random.default_rng(6), products=40, both=30)
    archive = fit_archive(found, rng=np.random.default_rng(1), settings=ArchiveSettings(draws=1000))
    score = archive.leave_one_out(rng=np.random.default_rng(2))
    assert len(score.cells) == 30
    assert stats.binomtest(round(score.inside * 30), 30, 0.9).pvalue > 0.01
    assert stats.kstest([c.probability for c in score.cells], "uniform").pvalue > 0.01
    assert "of 30 means lay inside their 90 % interval" in score.sentence()


def test_coverage_and_gain_of_sharing():
    """16 archives here; tests/studies/archive_coverage.py runs 200 and more."""
    runs = [one_archive(r, ArchiveSettings(draws=1000))
            for r in np.random.default_rng(20261125).spawn(16)]  # fmt: skip
    share = np.array([inside.mean() for inside, _, _ in runs])
    assert abs(share.mean() - 0.9) < 3 * share.std() / 4 + 0.03
    narrower = [np.median(width) / alone for _, width, alone in runs]
    assert np.median(narrower) < 0.7


def test_published_slopes_inform_an_archive_of_one_speed():
    given = [cord(n, [FAST] * 4, 9 + 0.02 * np.arange(4)) for n in "ab"]
    with_print = fit_archive(given, rng=np.random.default_rng(1))
    without = fit_archive(given, rng=np.random.default_rng(1),
                          settings=ArchiveSettings(published=False))  # fmt: skip
    width = [np.ptp(np.quantile(a.mean_ln("a", np.array([SLOW]), rng=np.random.default_rng(2)),
                                [0.05, 0.95])) for a in (with_print, without)]  # fmt: skip
    assert width[0] < 0.8 * width[1]
    codes = {p.code: p.severity for p in with_print.problems}
    assert codes["archive-few-speeds"] == "serious"
    assert (
        "could not be checked" in with_print.leave_one_out(rng=np.random.default_rng(1)).sentence()
    )


def test_published_table_states_source_and_how_it_was_seen():
    rows = published_slopes()
    for row in rows:
        assert row.how_seen in ("abstract", "table", "memory")
        assert row.source
        assert row.sd_origin
        assert ("from memory" in row.source) == (row.how_seen == "memory")
    laminate = next(r for r in rows if r.construction == "laminate")
    decades = np.log10(245 / 4e-4)
    assert laminate.slope == pytest.approx(np.log(1.17) / decades, abs=1e-4)
    assert laminate.decades == pytest.approx(decades, abs=0.05)
    carbon = next(r for r in rows if r.fibre == "carbon")
    assert carbon.decades == pytest.approx(np.log10(600 / 3.3e-5), abs=0.05)


def test_shared_scatter_recovers_a_known_distribution():
    """Variances from a scaled inverse chi-square (Smyth 2004), 4000 products."""
    rng = np.random.default_rng(9)
    true = 0.03**2 * 12 / rng.chisquare(12, 4000)
    within = true * rng.chisquare(4, 4000)
    got = shared_scatter(within, np.full(4000, 4.0))
    assert got.dof == pytest.approx(12, rel=0.25)
    assert got.variance == pytest.approx(0.03**2, rel=0.05)
    equal = shared_scatter(0.03**2 * rng.chisquare(4, 4000), np.full(4000, 4.0))
    assert equal.dof > 60


@pytest.mark.parametrize(("x", "y"), [(np.pi**2 / 2, 0.5), (np.pi**2 / 6, 1.0),
                                      (np.pi**2 / 6 - 1, 2.0)])  # fmt: skip
def test_inverse_trigamma_at_known_values(x, y):
    """Abramowitz and Stegun 6.4.2 and 6.4.4 (from memory): psi'(1/2), psi'(1), psi'(2)."""
    assert inverse_trigamma(x) == pytest.approx(y, rel=1e-10)


def test_what_is_left_out_or_mixed_is_said():
    y = 9 + 0.02 * np.arange(5)
    held = cord("held", [FAST] * 5, y, broke=[True] * 4 + [False])
    mixed = cord("mixed", [FAST] * 5, y, extra={"preload_cycles": np.array([0, 0, 0, 10.0, 10.0])})
    archive = fit_archive([held, mixed], rng=np.random.default_rng(1))
    codes = {p.code for p in archive.problems}
    assert {"archive-held-specimens-left-out", "archive-conditions-mixed"} <= codes
    assert archive.product("held").count.sum() == 4


def test_machines_that_share_no_speed_are_named():
    found, _ = make_archive(np.random.default_rng(1), products=10, both=6)
    archive = fit_archive(found, rng=np.random.default_rng(1))
    assert "machine fast shares no speed" in " ".join(p.message for p in archive.problems)
    bridged = [*found, cord("bridge", [FAST] * 3, [9.0, 9.01, 9.02], machine=["slow"] * 3)]
    archive = fit_archive(bridged, rng=np.random.default_rng(1))
    assert "machine-and-rate-confounded" not in {p.code for p in archive.problems}


def test_a_campaign_serves_as_archive_and_wrong_questions_are_refused():
    given = small_archive()
    campaign = Campaign("c", {s.name: s for s in given}, {}, "0" * 64)
    archive = fit_archive(campaign, rng=np.random.default_rng(1))
    rng = np.random.default_rng(1)
    with pytest.raises(InputError, match="the archive has no product 'x'"):
        archive.mean_ln("x", np.array([0.0]), rng=rng)
    with pytest.raises(InputError, match="no group HMPE sling"):
        archive.slope("HMPE", "sling")
    with pytest.raises(InputError, match="one or more above 0, in 1/s"):
        archive.table([], rng=rng)
    with pytest.raises(InputError, match="level 2; expected above 0 and below 1"):
        fit_archive(given, rng=rng, settings=ArchiveSettings(level=2.0))
    with pytest.raises(InputError, match="two products are named a"):
        fit_archive([given[0], given[0]], rng=rng)
    with pytest.raises(InputError, match="no product of the archive has a broken specimen"):
        fit_archive([], rng=rng)
