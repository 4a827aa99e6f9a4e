"""Force–strain laws and arrangements: inverse, energy, slope agree with one another."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import simpson

from ratemodel.errors import InputError
from ratemodel.event import (
    Line,
    Linear,
    Mover,
    Parallel,
    PowerLaw,
    Recorded,
    Series,
    loading_curve,
    shock,
)

RECORD = Recorded(np.array([0.0, 0.02, 0.05, 0.1]), np.array([0.0, 1e3, 6e3, 20e3]))
NESTED = Series(
    (
        Line(PowerLaw(300e3, 1.5), 5.0),
        Parallel((Line(Linear(50e3), 1.0), Line(RECORD, 1.0)), (0.0, 0.03)),
    )
)


@pytest.mark.parametrize(
    "line",
    [Line(Linear(5e4), 3.0), Line(PowerLaw(2e5, 0.7), 3.0), Line(RECORD, 3.0), NESTED],
    ids=["linear", "power", "recorded", "nested"],
)
def test_energy_is_the_area_and_extension_the_inverse(line: object) -> None:
    x = np.array([0.05, 0.2, 0.27, 0.6])
    force = line.force(x)
    np.testing.assert_allclose(line.extension(force), x, rtol=1e-9)
    for xi, energy in zip(x, line.energy(x), strict=True):
        u = np.linspace(0, xi, 20_001)
        area = simpson(line.force(u), x=u)
        assert energy == pytest.approx(area, rel=1e-6)
    slope = (line.force(x + 1e-6) - line.force(x - 1e-6)) / 2e-6
    np.testing.assert_allclose(line.stiffness(x), slope, rtol=1e-4)


def test_lines_of_a_nested_arrangement_carry_their_shares() -> None:
    x = np.array([0.4])
    first, second, third = NESTED.states(x)
    lines = NESTED.lines()
    total = NESTED.force(x)
    np.testing.assert_allclose(lines[0].force(first), total)
    np.testing.assert_allclose(lines[1].force(second) + lines[2].force(third), total)
    np.testing.assert_allclose(first + second, x)
    np.testing.assert_allclose(third, second - 0.03)
    for i, state in enumerate((first, second, third)):
        np.testing.assert_allclose(NESTED.extension_where(i, lines[i].force(state)), x)


def test_beyond_the_record_is_said() -> None:
    line = Line(RECORD, 2.0)
    assert shock(line, Mover.falling(80.0, 0.2)).problems == ()
    codes = [p.code for p in shock(line, Mover.falling(80.0, [0.2, 9.0])).problems]
    assert codes == ["beyond-recorded-line"]


def test_loading_curve_recovers_a_noisy_pull() -> None:
    rng = np.random.default_rng(5)
    strain = np.linspace(0, 0.1, 4001)
    force = 400e3 * strain**1.3
    noisy = force + rng.normal(0, 20.0, strain.size)
    after = np.r_[noisy, [50.0, 10.0]]  # force gone after the break
    curve = loading_curve(np.r_[strain, 0.101, 0.102], after)
    at = np.linspace(0.02, 0.098, 30)
    np.testing.assert_allclose(curve.force(at), 400e3 * at**1.3, rtol=0.02)
    assert curve.force_points[-1] == noisy.max()


@pytest.mark.parametrize(
    ("build", "words"),
    [
        (lambda: Recorded(np.array([0.0, 0.1, 0.05]), np.array([0.0, 1.0, 2.0])), "rising"),
        (lambda: Recorded(np.array([0.1]), np.array([1.0])), "at least 2 points"),
        (lambda: loading_curve([0.0, 0.1], [5.0, -1.0]), "from slack to its peak"),
        (lambda: Parallel((Line(Linear(1e4), 1.0),), (0.0, 1.0)), "one for each"),
        (lambda: PowerLaw(1e4, -1.0), "exponent above 0"),
    ],
)
def test_impossible_lines(build: object, words: str) -> None:
    with pytest.raises(InputError, match=words):
        build()
