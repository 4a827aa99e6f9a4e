"""Simulated series have the truth they were drawn from."""

import numpy as np
import pytest

from ratemodel.errors import InputError
from ratemodel.models.rate import HALF_HEAT
from ratemodel.records.tables import Rating
from ratemodel.simulate import Design, FibreAndHeat, Label, Truth, simulate_series

MANY = 20_000


def _residuals(truth, design, seed=1):
    used = simulate_series(truth, design, np.random.default_rng(seed)).used
    return np.log(used.strength) - truth.curve(np.log10(used.strain_rate_per_s)), used


def test_curve_is_the_formula():
    """Heat balance by hand: h = r (1 - exp(-1/r)), r = 10**(u - c) / HALF_HEAT."""
    curve = FibreAndHeat(9.0, -3.0, 0.02, 0.12, -2.0)

    def h(u):
        r = 10 ** (u + 2.0) / HALF_HEAT
        return r * (1 - np.exp(-1 / r))

    u = np.array([-4.0, -3.0, -2.0, 1.0])
    assert curve(u) == pytest.approx(9.0 + 0.02 * (u + 3) - 0.12 * (h(u) - h(-3.0)), rel=1e-12)
    assert curve(u.reshape(2, 2)).shape == (2, 2)


@pytest.mark.parametrize("family", ["normal", "smallest-extreme-value"])
def test_scatter_has_the_stated_size_and_grows_as_stated(family):
    truth = Truth(scatter=0.03, growth=0.2, reference=-3.0, family=family)
    slow, _ = _residuals(truth, Design((-3.0,), MANY))
    fast, _ = _residuals(truth, Design((0.0,), MANY))
    assert slow.mean() == pytest.approx(0.0, abs=5 * 0.03 / np.sqrt(MANY))
    assert slow.std() == pytest.approx(0.03, rel=0.03)
    assert fast.std() == pytest.approx(0.03 * np.exp(0.6), rel=0.03)
    skew = np.mean((slow / slow.std()) ** 3)
    # skewness of the smallest extreme value: -12 sqrt(6) zeta(3) / pi**3 = -1.1395
    assert skew == pytest.approx(0.0 if family == "normal" else -1.1395, abs=0.15)


def test_spools_and_machines_shift_whole_groups():
    design = Design((-3.0, 0.0), 5000, ("frame", "ram"), spools=50)
    residual, used = _residuals(Truth(scatter=1e-6, batch_sd=0.02), design)
    spool = {b: residual[[i for i, x in enumerate(used.batch) if x == b]] for b in set(used.batch)}
    assert len(spool) == 50
    assert max(np.ptp(v) for v in spool.values()) < 2e-5
    assert np.std([v.mean() for v in spool.values()]) == pytest.approx(0.02, rel=0.4)
    residual, used = _residuals(Truth(scatter=1e-6, machine_bias={"ram": 0.01, "frame": 0}), design)
    assert residual[np.array(used.machine) == "ram"].mean() == pytest.approx(0.01, abs=1e-5)
    drawn = [_residuals(Truth(scatter=1e-9, machine_sd=0.01), Design((-3.0,), 1), k)[0][0]
             for k in range(400)]  # fmt: skip
    assert np.std(drawn) == pytest.approx(0.01, rel=0.15)


def test_a_force_limit_censors_at_the_limit():
    limit = {"frame": 10_000.0}
    design = Design((-3.0, -3.0), 400, ("frame", "ram"), force_limit_N=limit)
    used = simulate_series(Truth(), design, np.random.default_rng(1)).used
    frame = np.array(used.machine) == "frame"
    assert used.broke[~frame].all()
    assert used.strength[frame & ~used.broke] == pytest.approx(10_000.0)
    assert 0.4 < used.broke[frame].mean() < 0.6
    assert used.strength[frame].max() <= 10_000.0 * (1 + 1e-12)


@pytest.mark.parametrize("family", ["normal", "smallest-extreme-value"])
@pytest.mark.parametrize("fraction", [0.1, 0.3])
def test_the_stated_share_is_censored(family, fraction):
    used = simulate_series(Truth(family=family), Design((-2.0,), MANY, censor_fraction=fraction),
                           np.random.default_rng(3)).used  # fmt: skip
    assert 1 - used.broke.mean() == pytest.approx(fraction, abs=0.015)
    assert np.ptp(used.strength[~used.broke]) == 0.0


def test_cycled_specimens_gain():
    design = Design((-3.0, -3.0), 5, cycles=(0, 10))
    residual, used = _residuals(Truth(scatter=1e-9, cycled_gain=0.04), design)
    assert residual == pytest.approx(np.where(used.preload_cycles > 0, 0.04, 0.0), abs=1e-7)
    assert used.preload_fraction.tolist() == [0.0] * 5 + [0.5] * 5


def test_any_callable_is_a_curve_and_the_label_is_kept():
    rating = Rating(11_000.0, "average")
    label = Label("sling", "polyester", None, 0.03, rating)
    truth = Truth(curve=lambda u: 8.0 - 0.01 * u**2, scatter=1e-9)
    series = simulate_series(truth, Design((-2.0, 1.0), 1), np.random.default_rng(1), label=label)
    assert np.log(series.used.strength) == pytest.approx([7.96, 7.99], abs=1e-6)
    assert (series.name, series.material, series.rating) == ("sling", "polyester", rating)
    assert (series.diameter_m, series.batch_sd_fraction, len(series.set_aside)) == (None, 0.03, 0)


def test_entries_must_match_the_rates():
    with pytest.raises(InputError, match="2 entries for 3 rates"):
        simulate_series(Truth(), Design((-3.0, -2.0, 0.0), (5, 5)), np.random.default_rng(1))
