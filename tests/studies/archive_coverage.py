"""Coverage of an archive at the untested speed, and what sharing is worth; run by hand.

    python tests/studies/archive_coverage.py [archives] [seed]

Each archive: 40 products in two groups, all pulled 5 times on the fast machine, 8 of them 5 times
on the slow one. Slopes of products, calibration of both machines and all scatter are drawn anew.
Printed: share of 90 % intervals for the slow mean strength of the 32 products that hold the truth,
with its standard error over archives, and the width against that of a fit of the product alone.

Run of 2026-11-25, seed 20261125, 200 archives each: slope sd 0.006: 0.947 +- 0.005, 68 % narrower;
0.012: 0.919 +- 0.006, 52 %; 0.020: 0.885 +- 0.007, 34 %. As a test: pytest -m study on this file.
"""

import sys
import time
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from dataclasses import replace

from made import series

import ratemodel as rm
from ratemodel.archive import ArchiveSettings, fit_archive

FAST, SLOW = -1.0, -4.0
GROUPS = (("HMPE", "braid", -0.020), ("HMPE", "webbing", -0.030))


def make_archive(rng, *, products=40, both=8, specimens=5, slope_sd=0.012, scatter=0.025,
                 calibration=0.01):  # fmt: skip
    """Series of one archive and the true ln mean strength of every product when pulled slowly."""
    bias = {"fast": rng.normal(0, calibration), "slow": rng.normal(0, calibration)}
    out, truth = [], {}
    for i in range(products):
        fibre, construction, centre = GROUPS[i % 2]
        slope = rng.normal(centre, slope_sd)
        level = rng.uniform(7.0, 11.0)
        sd = scatter * np.exp(0.2 * rng.standard_normal())
        u, machine = [FAST] * specimens, ["fast"] * specimens
        if i < both:
            u, machine = u + [SLOW] * specimens, machine + ["slow"] * specimens
        mean = level + slope * (np.array(u) - FAST)
        y = mean + [bias[m] for m in machine] + sd * rng.standard_normal(len(u))
        name = f"p{i:03d}"
        one = series(u, y, machine=machine, material=fibre, options={"construction": construction})
        out.append(replace(one, name=name))
        truth[name] = level + slope * (SLOW - FAST)
    return out, truth


def one_archive(rng, settings=None, **kwargs):
    """Whether each interval held the truth, its width, and the width alone, for one archive."""
    both = kwargs.get("both", 8)
    found, truth = make_archive(rng, **kwargs)
    archive = fit_archive(found, rng=rng, settings=settings or ArchiveSettings(draws=2000))
    inside, width = [], []
    for one in found[both:]:
        mean = archive.mean_ln(one.name, np.array([SLOW]), rng=rng)[:, 0]
        low, high = np.quantile(mean, [0.05, 0.95])
        inside.append(low <= truth[one.name] <= high)
        width.append(high - low)
    some = rm.Settings(draws=4000, points=256)
    curve = rm.fit_rate(found[both], rng=rng, settings=some).curve(np.array([SLOW]))
    alone = float(np.diff(curve.mean_interval[:, 0])[0])
    return np.array(inside), np.array(width), alone


def run(archives=200, seed=20261125, **kwargs):
    """Coverage, its standard error, median width shared and alone."""
    share, width, alone = [], [], []
    for rng in np.random.default_rng(seed).spawn(archives):
        i, w, a = one_archive(rng, **kwargs)
        share.append(i.mean())
        width.append(np.median(w))
        alone.append(a)
    share = np.array(share)
    return share.mean(), share.std() / np.sqrt(archives), np.median(width), np.median(alone)


@pytest.mark.study
def test_archive_coverage():
    coverage, _, width, alone = run()
    assert 0.87 <= coverage <= 0.93
    assert width <= 0.7 * alone


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 20261125
    for slope_sd in (0.006, 0.012, 0.020):
        start = time.perf_counter()
        c, se, w, a = run(count, seed, slope_sd=slope_sd)
        print(f"slope sd {slope_sd}: coverage {c:.3f} +- {se:.3f}, width {w:.4f} against {a:.4f} "
              f"alone ({100 * (1 - w / a):.0f} % narrower); {count} archives, seed {seed}, "
              f"{time.perf_counter() - start:.0f} s", flush=True)  # fmt: skip
