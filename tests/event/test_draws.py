"""Use cases sampled into events."""

from __future__ import annotations

import numpy as np
import pytest

from ratemodel.errors import InputError
from ratemodel.event import Recorded, event_draws, fall, median_course
from ratemodel.records.tables import Distribution, Use


def fixed(**values: float) -> dict[str, Distribution]:
    return {k: Distribution("fixed", v) for k, v in values.items()}


def rng() -> np.random.Generator:
    return np.random.default_rng(20)


def test_fall_uses_the_same_rows_it_reports() -> None:
    quantities = fixed(line_length=10.0, stiffness=60e3) | {
        "mass": Distribution("normal", 80.0, 8.0),
        "fall": Distribution("uniform", 0.5, 2.0),
    }
    event = event_draws(Use("gust", "a", "fall", quantities), 1000, rng())
    q = event.inputs
    np.testing.assert_array_equal(
        event.peak_force_N,
        fall(q["mass"], q["fall"], q["line_length"], q["stiffness"]).peak_force_N,
    )
    assert event.peak_force_N.shape == (1000,)
    # Marginals and independence of the sampled rows; bounds far outside chance for 1000 points.
    assert q["mass"].mean() == pytest.approx(80.0, abs=0.8)
    assert q["mass"].std() == pytest.approx(8.0, rel=0.05)
    assert 0.5 <= q["fall"].min() < q["fall"].max() <= 2.0
    assert abs(np.corrcoef(q["mass"], q["fall"])[0, 1]) < 0.1


def test_same_seed_same_draws_and_rows_are_shuffled() -> None:
    use = Use("u", "a", "rate", {"strain_rate": Distribution("lognormal", 1.0, 2.0)})
    first, again = (event_draws(use, 256, rng()).strain_rate_per_s for _ in range(2))
    np.testing.assert_array_equal(first, again)
    other = event_draws(use, 256, np.random.default_rng(21)).strain_rate_per_s
    assert not np.array_equal(first, other)
    assert np.median(first) == pytest.approx(1.0, rel=0.05)


def test_rate_has_no_demand_and_steady_has_no_rate() -> None:
    rate = event_draws(Use("r", "a", "rate", fixed(strain_rate=0.5)), 8, rng())
    assert rate.peak_force_N is None
    np.testing.assert_array_equal(rate.strain_rate_per_s, 0.5)
    steady = event_draws(Use("s", "a", "steady", fixed(load=2e3, duration=3600.0)), 8, rng())
    assert steady.strain_rate_per_s is None
    np.testing.assert_array_equal(steady.peak_force_N, 2e3)
    np.testing.assert_array_equal(steady.duration_s, 3600.0)


def test_vertical_snatch_is_harder_than_horizontal() -> None:
    q = fixed(mass=50.0, closing_speed=2.0, line_length=5.0, stiffness=40e3)
    flat = event_draws(Use("s", "a", "snatch", q), 4, rng())
    steep = event_draws(Use("s", "a", "snatch", q, options={"gravity": True}), 4, rng())
    assert (steep.peak_force_N > flat.peak_force_N).all()
    np.testing.assert_allclose(flat.peak_force_N, 2.0 * np.sqrt(50.0 * 40e3 / 5.0), rtol=1e-12)


def test_missing_quantity_is_named() -> None:
    use = Use("gust", "a", "fall", fixed(mass=80.0, fall=1.0, stiffness=1e4))
    with pytest.raises(InputError, match=r"column use\.gust\.line_length: .* lacks line_length"):
        event_draws(use, 4, rng())


def test_distribution_that_reaches_below_zero_is_refused() -> None:
    wide = fixed(fall=1.0, line_length=3.0, stiffness=1e4)
    wide["mass"] = Distribution("normal", 80.0, 60.0)
    with pytest.raises(InputError, match="lognormal"):
        event_draws(Use("u", "a", "fall", wide), 256, rng())


def test_no_draws_is_refused() -> None:
    with pytest.raises(InputError, match="at least 1 draw"):
        event_draws(Use("u", "a", "rate", fixed(strain_rate=1.0)), 0, rng())


def test_extra_quantities_reach_the_general_model() -> None:
    q = fixed(mass=80.0, fall=1.5, line_length=8.0, stiffness=60e3)
    plain = event_draws(Use("u", "a", "fall", q), 2, rng())
    capped = event_draws(Use("u", "a", "fall", q | fixed(slip_force=3e3)), 2, rng())
    np.testing.assert_allclose(capped.peak_force_N, 3e3)
    sling = fixed(sling_length=1.0, sling_stiffness=10e3)
    softer = event_draws(Use("u", "a", "fall", q | sling), 2, rng())
    one = fall(80.0, 1.5, 1.0, 1 / (8.0 / 60e3 + 1.0 / 10e3))
    np.testing.assert_allclose(softer.peak_force_N, one.peak_force_N[0], rtol=1e-12)
    curved = event_draws(Use("u", "a", "fall", q | fixed(stiffness_exponent=1.0)), 2, rng())
    for name in ("peak_force_N", "time_to_peak_s", "strain_rate_per_s", "mean_strain_rate_per_s"):
        np.testing.assert_allclose(getattr(curved, name), getattr(plain, name), rtol=1e-6)


def test_preload_of_a_horizontal_snatch_keeps_acting() -> None:
    q = fixed(mass=50.0, closing_speed=2.0, line_length=5.0, stiffness=40e3, preload=700.0)
    event = event_draws(Use("s", "a", "snatch", q), 2, rng())
    # About the preloaded state the snatch is the one without preload: P + v sqrt(m k).
    np.testing.assert_allclose(event.peak_force_N, 700.0 + 2.0 * np.sqrt(50.0 * 40e3 / 5.0))


def test_recorded_curve_replaces_the_stiffness() -> None:
    straight = Recorded(np.array([0.1, 0.5]), np.array([6e3, 30e3]))
    q = fixed(mass=80.0, fall=1.5, line_length=8.0)
    event = event_draws(Use("u", "a", "fall", q), 2, rng(), curve=straight)
    np.testing.assert_allclose(event.peak_force_N, fall(80.0, 1.5, 8.0, 60e3).peak_force_N[0])


@pytest.mark.parametrize("extra", [{}, {"damping_ratio": 0.1}, {"slip_force": 4e3, "run_out": 0.1}])
def test_course_passes_through_the_peak_of_the_event(extra: dict[str, float]) -> None:
    q = fixed(mass=80.0, fall=1.5, line_length=8.0, stiffness=60e3, **extra)
    use = Use("gust", "a", "fall", q)
    event, path = event_draws(use, 1, rng()), median_course(use)
    top = int(path.force_N.argmax())
    assert path.force_N[top] == pytest.approx(event.peak_force_N[0], rel=1e-4)
    assert path.time_s[top] == pytest.approx(event.time_to_peak_s[0], rel=0.02)
    assert path.strain[top] == pytest.approx(event.peak_strain[0], rel=0.02)
    assert path.name == "gust"


def test_course_needs_a_shock() -> None:
    with pytest.raises(InputError, match="a fall or a snatch"):
        median_course(Use("r", "a", "rate", fixed(strain_rate=1.0)))


def test_run_out_without_slip_force_is_named() -> None:
    q = fixed(mass=80.0, fall=1.5, line_length=8.0, stiffness=60e3, run_out=1.0)
    with pytest.raises(InputError, match="lacks slip_force"):
        event_draws(Use("u", "a", "fall", q), 4, rng())
