"""Value of a test: expectation, and the check when the rows come in."""

from dataclasses import replace

import labs
import numpy as np
import pytest

from ratemodel.errors import InputError, NotIdentifiedError
from ratemodel.inference.average import Settings, fit_rate
from ratemodel.planning import check_value, expected_ratio, value_of_test
from ratemodel.simulate import Design, FibreAndHeat, Truth, simulate_series

AT = np.array([0.3])
SETTINGS = Settings(draws=6000, points=256)
TRUTH = Truth(FibreAndHeat(place=-2.0))


@pytest.fixture(scope="module")
def before():
    rng = np.random.default_rng(2)
    return fit_rate(simulate_series(TRUTH, Design((-3.0, -1.5), 5), rng), rng=rng,
                    settings=SETTINGS)  # fmt: skip


def more(fit, rate, count, shift=0.0, truth=TRUTH, seed=3):
    """The fit with ``count`` rows of the same truth added at a rate."""
    rng = np.random.default_rng(seed)
    new = simulate_series(truth, Design((rate,), count), rng).used
    old = fit.series.used
    columns = {}
    for name in old.__dataclass_fields__:
        if name != "extra":
            x, y = getattr(old, name), getattr(new, name)
            columns[name] = x + y if isinstance(x, tuple) else np.concatenate([x, y])
    columns["specimen"] = old.specimen + tuple(f"new{i}" for i in range(count))
    columns["strength"][len(old) :] *= np.exp(shift)
    return fit_rate(replace(fit.series, used=type(old)(**columns)), rng=rng, settings=SETTINGS)


def test_a_test_near_the_question_is_worth_more_than_a_repeat(before):
    target = before.mean_ln(AT)[:, 0]
    near, far = value_of_test(before, target, 1.0), value_of_test(before, target, 1e-3)
    assert near.expected_ratio < 0.8
    assert near.expected_ratio < far.expected_ratio <= 1.05
    assert near.ratio_range[0] <= near.expected_ratio <= near.ratio_range[1]


def test_same_expectation_as_the_search_for_the_next_test(before):
    target = before.mean_ln(AT)[:, 0]
    value = value_of_test(before, target, 1.0, 3)
    assert value.expected_ratio == expected_ratio(before, target, np.array([0.0]), 3)[0]


def test_what_came_is_compared_with_what_was_expected(before):
    value = value_of_test(before, before.mean_ln(AT)[:, 0], 1.0, 3)
    after = more(before, 0.0, 3)
    check = check_value(value, after, after.mean_ln(AT)[:, 0])
    widths = [np.diff(np.quantile(f.mean_ln(AT)[:, 0], [0.05, 0.95]))[0] for f in (before, after)]
    assert check.ratio == pytest.approx(widths[1] / widths[0])
    assert check.specimens == 3
    assert check.ratio < 1
    assert abs(check.departure) < 2.5
    assert "surprise" not in check.words


def test_surprise_is_said(before):
    value = value_of_test(before, before.mean_ln(AT)[:, 0], 1.0, 3)
    after = more(before, 0.0, 3, shift=-0.4)
    check = check_value(value, after, after.mean_ln(AT)[:, 0])
    assert check.departure < -2.5
    assert "surprise" in check.words


def test_expected_ratio_is_the_mean_of_what_comes():
    """Over states of nature drawn from the fit, the ratios found average the expected one."""
    fit = labs.fitted(Design((-3.0, -1.5), 5), machine_sd=0.0, draws=6000)
    value = value_of_test(fit, fit.mean_ln(AT)[:, 0], 1.0, 4)
    ratios = []
    for i in range(20):
        j, k = int(fit.owner[i]), int(fit.row[i])
        draws = fit.models[j].draws.take(np.array([k]))
        truth = Truth(lambda u, d=draws: d.mean_ln(u)[0], scatter=float(draws.sigma[0]),
                      growth=float(draws.growth[0]), reference=fit.data.centre)  # fmt: skip
        after = more(fit, 0.0, 4, truth=truth, seed=100 + i)
        ratios.append(check_value(value, after, after.mean_ln(AT)[:, 0]).ratio)
    error = np.std(ratios) / np.sqrt(len(ratios))
    assert np.mean(ratios) == pytest.approx(value.expected_ratio, abs=3 * error + 0.03)


def test_no_new_row_is_refused(before):
    target = before.mean_ln(AT)[:, 0]
    with pytest.raises(NotIdentifiedError, match="no new specimen broke"):
        check_value(value_of_test(before, target, 1.0), before, target)


def test_bad_arguments_are_refused(before):
    with pytest.raises(InputError, match="rate above 0"):
        value_of_test(before, before.mean_ln(AT)[:, 0], 0.0)
    with pytest.raises(InputError, match="one value for each"):
        value_of_test(before, np.zeros(3), 1.0)
