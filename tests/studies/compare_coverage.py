"""Coverage of 95 % ratio intervals with few specimens; run by hand.

    python tests/studies/compare_coverage.py [pairs] [seed]

Both series are pulled on one machine; B is 10.5 % stronger. Cases: 5 specimens each at one speed
with equal and unequal scatter (Behrens-Fisher), 5 each spread over two speeds, 5 each per speed.

Run of 2026-11-25, seed 20261125, 2000 pairs each: one speed, scatter of B 1, 1.5, 2, 3 times that
of A: 0.956, 0.948, 0.941, 0.921; 5 over two speeds 0.962; 5 at each of two speeds 0.955 (standard
error 0.005). As a test: pytest -m study on this file.
"""

import sys
import time
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from made import series

import ratemodel as rm
from ratemodel.comparing import compare

ONE = np.full(5, -2.0)
SPREAD = np.array([-3.0, -3, -3, -1, -1])
TWO = np.repeat([-3.0, -1.0], 5)
SLOPE, GAIN, SCATTER = -0.02, 0.1, 0.03


def coverage(u, ratio, pairs, seed, at=None):
    """Share of intervals that hold the truth, scatter of B being ``ratio`` times that of A."""
    at = u.min() if at is None else at
    models = ("constant",) if np.ptp(u) == 0 else ()
    settings = rm.Settings(draws=4000, points=256, models=models)
    hits = 0
    for rng in np.random.default_rng(seed).spawn(pairs):
        fits = []
        for gain, sd in ((0.0, SCATTER), (GAIN, SCATTER * ratio)):
            y = 9 + gain + SLOPE * u + sd * rng.standard_normal(u.size)
            one = series(u, y, machine=["m"] * u.size)
            fits.append(rm.fit_rate(one, rng=rng, settings=settings))
        got = compare(*fits, [10.0**at], rng=rng).points[0].ratio
        hits += got.low <= np.exp(GAIN) <= got.high
    return hits / pairs


CASES = {
    "one speed, equal scatter": (ONE, 1.0),
    "one speed, scatter 1.5 times": (ONE, 1.5),
    "one speed, scatter 2 times": (ONE, 2.0),
    "one speed, scatter 3 times": (ONE, 3.0),
    "5 specimens over two speeds, equal scatter": (SPREAD, 1.0),
    "5 specimens at each of two speeds, equal scatter": (TWO, 1.0),
}


@pytest.mark.study
@pytest.mark.parametrize("case", [c for c in CASES if "3 times" not in c])
def test_ratio_coverage(case):
    assert 0.935 <= coverage(*CASES[case], 2000, 20261125) <= 0.965


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 20261125
    for name, case in CASES.items():
        start = time.perf_counter()
        share = coverage(*case, count, seed)
        print(f"{name}: {share:.4f} +- {np.sqrt(share * (1 - share) / count):.4f}; {count} pairs, "
              f"seed {seed}, {time.perf_counter() - start:.0f} s", flush=True)  # fmt: skip
