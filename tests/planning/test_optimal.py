"""Classical designs against their published properties and a search that knows nothing of them."""

import numpy as np
import pytest
from numpy.polynomial import Chebyshev, Polynomial

from ratemodel.errors import InputError
from ratemodel.planning.optimal import (
    Design,
    equal_spacing,
    extrapolation,
    lagrange,
    straight_line,
    variance_of_height,
)


def test_straight_line_has_half_at_each_end():
    design = straight_line(-4.0, 0.0)
    assert design.u.tolist() == [-4.0, 0.0]
    assert design.share.tolist() == [0.5, 0.5]


def test_straight_line_is_d_optimal_by_the_equivalence_theorem():
    """Kiefer & Wolfowitz (1960): the largest variance over the range equals the parameters, 2."""
    design = straight_line(-4.0, 0.0)
    at = np.linspace(-4, 0, 81)
    worst = max(variance_of_height(design, float(x), 1) for x in at)
    assert worst == pytest.approx(2.0)
    even = equal_spacing(-4.0, 0.0, 5)
    assert max(variance_of_height(even, float(x), 1) for x in at) > 2.9


@pytest.mark.parametrize("degree", [1, 2, 3])
@pytest.mark.parametrize("target", [1.3, 2.0, -1.8])
def test_extrapolation_reaches_the_chebyshev_variance(degree, target):
    """Hoel & Levine (1964): the least variance is sigma^2/n times T_m(target)^2."""
    design = extrapolation(-1.0, 1.0, target, degree)
    least = float(Chebyshev.basis(degree)(target)) ** 2
    assert variance_of_height(design, target, degree) == pytest.approx(least, rel=1e-9)


@pytest.mark.parametrize("degree", [1, 2])
def test_no_design_on_a_grid_beats_extrapolation(degree):
    """Linear programme of Elfving (1952): the least sum of |w| with sum w f(u) = f(target)."""
    from scipy.optimize import linprog

    grid = np.linspace(-1, 1, 41)
    target = 1.7
    columns = (grid[:, None] ** np.arange(degree + 1)).T
    found = linprog(np.ones(82), A_eq=np.hstack([columns, -columns]),
                    b_eq=target ** np.arange(degree + 1))  # fmt: skip
    weight = found.x[:41] + found.x[41:]
    kept = weight > 1e-8
    design = extrapolation(-1.0, 1.0, target, degree)
    assert grid[kept] == pytest.approx(design.u, abs=1e-9)
    assert weight[kept] / weight.sum() == pytest.approx(design.share, abs=1e-7)
    assert found.fun**2 == pytest.approx(variance_of_height(design, target, degree), rel=1e-7)


def test_extrapolation_by_hand_in_other_units():
    """Shares 1 : 3 : 3 for a parabola one half-range beyond; shifting and stretching keeps them."""
    design = extrapolation(-4.0, 0.0, 2.0, 2)
    assert design.u == pytest.approx([-4, -2, 0])
    assert design.share == pytest.approx([1 / 7, 3 / 7, 3 / 7])
    assert design.specimens(14).tolist() == [2, 6, 6]


def test_target_inside_the_range_takes_all():
    assert extrapolation(-4.0, 0.0, -1.0, 2).u.tolist() == [-1.0]


def test_lagrange_sums_to_one_and_rebuilds_a_polynomial():
    points = np.array([-1.0, 0.2, 1.0, 2.5])
    p = Polynomial([1.0, -2.0, 0.5, 3.0])
    basis = lagrange(points, 1.9)
    assert basis.sum() == pytest.approx(1.0)
    assert basis @ p(points) == pytest.approx(p(1.9))


def test_whole_specimens_keep_the_total():
    design = Design(np.arange(3.0), np.array([0.2, 0.3, 0.5]))
    for total in range(1, 40):
        count = design.specimens(total)
        assert count.sum() == total
        assert np.abs(count - design.share * total).max() < 1


def test_variance_is_infinite_where_the_design_cannot_carry_the_line():
    assert variance_of_height(Design(np.array([-1.0]), np.ones(1)), 0.0, 1) == np.inf


def test_bad_ranges_are_refused():
    with pytest.raises(InputError, match="a lower and a higher rate"):
        straight_line(0.0, 0.0)
    with pytest.raises(InputError, match="degree 1 or more"):
        extrapolation(0.0, 1.0, 2.0, 0)
    with pytest.raises(InputError, match="at least 2 speeds"):
        equal_spacing(0.0, 1.0, 1)
