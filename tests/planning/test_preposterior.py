"""Foretold intervals against closed forms and against real fits."""

from dataclasses import replace
from itertools import pairwise

import labs
import numpy as np
import pytest

from ratemodel.inference.average import Settings, fit_rate
from ratemodel.planning import Machine, PlanRequest, Question
from ratemodel.planning.fast import all_cells
from ratemodel.planning.knowledge import FLAT, know
from ratemodel.planning.preposterior import expected_sd, expected_width, linear_variance, outlook
from ratemodel.simulate import Design, Truth, simulate_series

FREE = Machine("servo", 0.05, 5.0, setup_s=600)


def straight(sigma, question, **more):
    """Outlook of a straight line with known scatter."""
    request = PlanRequest((FREE,), question, models=("power-law",), priors=labs.one_law(),
                          hours=100, specimens=60, preload_bias_limit=0.0, **more)  # fmt: skip
    rng = np.random.default_rng(1)
    knowledge = know(request, rng)
    parts = tuple(replace(p, sigma=np.full_like(p.sigma, sigma)) for p in knowledge.parts)
    knowledge = replace(knowledge, parts=parts)
    cells = all_cells(request, knowledge)
    return outlook(request, knowledge, cells, 20, rng), cells


@pytest.mark.parametrize("kind", ["mean", "bound", "effect"])
def test_straight_line_with_known_scatter_is_generalised_least_squares(kind):
    """Posterior variance f'(X'X/s^2 + P)^-1 f, whatever the outcome."""
    sigma = 0.025
    question = Question(kind, 30.0, 0.1 if kind == "effect" else None)
    view, cells = straight(sigma, question)
    n = np.zeros(len(cells), dtype=np.int64)
    n[[0, 3, -1]] = [4, 2, 7]
    u = np.array([c.u for c in cells])
    x = np.column_stack([np.ones(u.size), u])
    reference = 0.0  # middle of 0.1 to 10 /s
    prior = np.diag([FLAT**-2, 1.0])
    precision = (x * n[:, None]).T @ x / sigma**2 + prior
    f = np.array([1.0, question.u - reference])
    if kind == "effect":
        f = np.array([0.0, question.u + 1.0])
    sd = float(np.sqrt(f @ np.linalg.solve(precision, f)))
    assert expected_sd(view, n) == pytest.approx(sd, rel=1e-6)
    assert expected_width(view, n) == pytest.approx(2 * 1.6448536 * sd, rel=1e-5)


def test_guide_is_exact_where_all_is_gaussian():
    view, cells = straight(0.025, Question("mean", 30.0))
    cov, cross, own, noise = linear_variance(view)
    n = np.zeros(len(cells), dtype=np.int64)
    n[[0, -1]] = 5
    used = np.flatnonzero(n)
    s = cov[np.ix_(used, used)] + np.diag(noise[used] / n[used])
    left = own - cross[used] @ np.linalg.solve(s, cross[used])
    assert np.sqrt(left) == pytest.approx(expected_sd(view, n), rel=1e-4)


def test_departure_beyond_the_tested_rates_counts():
    priors = labs.one_law(discrepancy=labs.default_priors(
        labs.at_rates(labs.product(), 0.1, 10.0)).parameters["discrepancy"])  # fmt: skip
    request = PlanRequest((FREE,), Question("mean", 1000.0), models=("power-law",), priors=priors)
    rng = np.random.default_rng(1)
    knowledge = know(request, rng)
    view = outlook(request, knowledge, all_cells(request, knowledge), 20, rng)
    assert view.departure(np.array([-1.0, 1.0])) == pytest.approx(0.012**2 * 2)
    assert view.departure(np.array([-1.0, 3.0])) == 0


def test_more_specimens_never_widen_the_expected_interval():
    request = labs.request()
    rng = np.random.default_rng(2)
    knowledge = know(request, rng)
    cells = all_cells(request, knowledge)
    view = outlook(request, knowledge.thinned(600, rng), cells, 100, rng)
    n = np.zeros(len(cells), dtype=np.int64)
    n[[0, -1]] = 2
    widths = []
    for _ in range(5):
        widths.append(expected_width(view, n))
        n = n * 2
    assert all(b < a * 1.01 for a, b in pairwise(widths))


def test_width_now_equals_the_fit():
    fit = labs.fitted(draws=20_000)
    request = labs.request(known=fit)
    rng = np.random.default_rng(3)
    knowledge = know(request, rng)
    view = outlook(request, knowledge, all_cells(request, knowledge), 20, rng)
    low, high = np.quantile(fit.mean_ln(np.array([request.question.u]))[:, 0], [0.05, 0.95])
    assert view.now() == pytest.approx(high - low, rel=0.06)


def test_thinned_mixture_tells_the_same():
    request = labs.request(known=labs.fitted())
    rng = np.random.default_rng(4)
    knowledge = know(request, rng)
    cells = all_cells(request, knowledge)
    whole = outlook(request, knowledge, cells, 20, rng)
    part = outlook(request, knowledge.thinned(400, rng), cells, 20, rng)
    assert part.weight.sum() == pytest.approx(1.0)
    assert part.now() == pytest.approx(whole.now(), rel=0.05)


def test_foretold_interval_is_what_fits_give_on_average():
    """Truths drawn from what is known, real fits of simulated tests: their mean interval."""
    fit = labs.fitted()
    request = labs.request(known=fit)
    rng = np.random.default_rng(5)
    knowledge = know(request, rng)
    cells = all_cells(request, knowledge)
    view = outlook(request, knowledge, cells, 300, rng)
    n = np.zeros(len(cells), dtype=np.int64)
    n[-1] = 6
    foretold = expected_width(view, n)
    at = np.array([request.question.u])
    old = fit.series.used
    widths = []
    for i in range(24):
        row = fit.take(np.array([i * 131]))
        j, k = int(row.owner[0]), int(row.row[0])
        draws = fit.models[j].draws
        bias = dict(zip(fit.data.machines, draws.machine[k], strict=True))
        truth = Truth(
            lambda u, d=draws, k=k: d.take(np.array([k])).mean_ln(u)[0],
            scatter=float(draws.sigma[k]), growth=float(draws.growth[k]),
            reference=fit.data.centre, machine_bias=bias,
        )  # fmt: skip
        new = simulate_series(truth, Design((cells[-1].u,), 6, machines="ram"), rng)
        merged = _joined(old, new.used)
        again = fit_rate(replace(fit.series, used=merged), rng=rng,
                         settings=Settings(draws=3000, points=256))  # fmt: skip
        widths.append(float(np.diff(np.quantile(again.mean_ln(at)[:, 0], [0.05, 0.95]))[0]))
    error = np.std(widths) / np.sqrt(len(widths))
    assert np.mean(widths) == pytest.approx(foretold, abs=3 * error + 0.03 * foretold)


def _joined(a, b):
    columns = {}
    for name in a.__dataclass_fields__:
        x, y = getattr(a, name), getattr(b, name)
        if name == "extra":
            continue
        columns[name] = x + y if isinstance(x, tuple) else np.concatenate([x, y])
    columns["specimen"] = tuple(f"s{i}" for i in range(len(a) + len(b)))
    # the spool simulated anew stands for the one already tested
    columns["batch"] = (a.batch[0],) * (len(a) + len(b))
    return type(a)(**columns)
