"""Coverage study: do intervals and bounds hold what they say, inside the tests and beyond?

    python tests/studies/rate_coverage.py --inside 2000 --beyond 200 --seed 1 --workers 2 --out DIR

writes coverage.csv, coverage.md and coverage.png. Every campaign has its own seed, so any cell can
be run again alone (``--cells``) and gives the same numbers.
"""

import argparse
import os
import sys
import zlib
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parent))

import numpy as np
import pandas as pd
from scipy import stats
from tqdm import tqdm
from truths import TRUTHS

import ratemodel as rm
from ratemodel.inference.priors import default_priors
from ratemodel.inference.ratefit import Bound
from ratemodel.records.tables import Distribution
from ratemodel.simulate import Design, Label, Truth, simulate_series

SCATTER = 0.025


@dataclass(frozen=True)
class Cell:
    """Campaigns of one kind: speeds as decades below the fastest, specimens at each."""

    name: str
    speeds: tuple[float, ...]
    specimens: int
    options: dict = field(default_factory=dict)


INSIDE = [
    Cell("2 speeds x 3", (-2.5, 0), 3),
    Cell("2 speeds x 5", (-2.5, 0), 5),
    Cell("3 speeds x 4", (-3, -1.5, 0), 4),
    Cell("4 speeds x 3", (-4, -2.7, -1.3, 0), 3),
    Cell("5 speeds x 3", (-4, -3, -2, -1, 0), 3),
    Cell("3 x 5, scatter +16 % a decade", (-3, -1.5, 0), 5, {"growth": 0.15}),
    Cell("3 x 4, 3 spools", (-3, -1.5, 0), 4, {"spools": 3, "batch_sd": 0.02}),
    Cell("3 x 6, 6 spools", (-3, -1.5, 0), 6, {"spools": 6, "batch_sd": 0.02}),
    Cell("2 x 5, 20 % held", (-2.5, 0), 5, {"censor": 0.2}),
    Cell("3 x 5, 20 % held", (-3, -1.5, 0), 5, {"censor": 0.2}),
]
BEYOND = [
    Cell("2 speeds 1.4 decades apart x 5", (-1.4, 0), 5),
    Cell("3 speeds over 1.4 decades x 5", (-1.4, -0.7, 0), 5),
    Cell("3 speeds over 3 decades x 5", (-3, -1.5, 0), 5),
]
MACHINES = [
    Cell("slow frame and fast rig", (-2.5, 0), 5),
    Cell("the same with bridge tests", (-2.5, 0, 0), 5),
]


def simulate(cell, truth, rng):
    """A series, the fastest log10 rate, and the truth's curve."""
    top = rng.uniform(-2.5, -0.5)
    o = cell.options
    curve = TRUTHS[truth]
    rates = tuple(top + s for s in cell.speeds)
    machines = o.get("machines", "frame")
    made = Truth(
        lambda u: 9.0 + curve(np.asarray(u) - top),
        SCATTER,
        o.get("growth", 0.0),
        float(np.mean(rates)),
        o.get("batch_sd", 0.0),
        machine_sd=o.get("machine_sd", 0.0),
    )
    design = Design(rates, cell.specimens, machines, spools=o.get("spools", 1),
                    censor_fraction=o.get("censor", 0.0))  # fmt: skip
    return simulate_series(made, design, rng, label=Label(diameter_m=None)), top, made


def seeded(*parts):
    return np.random.default_rng([zlib.crc32(repr(parts).encode())])


def inside(job):
    """Shares held at the tested speeds of one campaign whose truth is drawn from the library."""
    cell, i, seed = job
    rng = seeded("inside", cell.name, i, seed)
    names = list(TRUTHS)
    series, top, truth = simulate(cell, names[i % len(names)], rng)
    fast = rm.Settings(draws=4096, points=512)
    fit = rm.fit_rate(series, rng=rng, settings=fast)
    u = top + np.array(sorted(set(cell.speeds)), float)
    mean = truth.curve(u)
    sd = np.hypot(truth.scatter_at(u), truth.batch_sd)
    c = fit.curve(u, level=0.95)
    held = stats.norm.cdf((c.specimen_interval - mean) / sd)
    row = [np.mean((c.mean_interval[0] < mean) & (mean < c.mean_interval[1])),
           np.mean(held[1] - held[0])]  # fmt: skip
    for fraction in (0.95, 0.99, 0.90):
        bound = fit.curve(u, bound=Bound(fraction, 0.95)).lower_bound
        row.append(np.mean(bound < mean + sd * stats.norm.ppf(1 - fraction)))
    return row


def line_alone(u, y, at, level=0.90):
    """Student-t interval of a straight line in log rate (ordinary least squares)."""
    x = np.column_stack([np.ones_like(u), u])
    inverse = np.linalg.inv(x.T @ x)
    beta = inverse @ x.T @ y
    s2 = ((y - x @ beta) ** 2).sum() / (u.size - 2)
    v = np.array([1.0, at])
    half = stats.t.ppf((1 + level) / 2, u.size - 2) * np.sqrt(s2 * v @ inverse @ v)
    return float(v @ beta), float(half)


def beyond(job):
    """Mean interval 1.5 to 2.5 decades beyond the fastest speed: held, width, and the line's."""
    cell, truth_name, i, seed, options = job
    rng = seeded("beyond", cell.name, truth_name, i, seed)
    series, top, truth = simulate(cell, truth_name, rng)
    at = top + rng.uniform(1.5, 2.5)
    settings = rm.Settings(draws=4096, points=512, averaging=options.get("averaging", "evidence"))
    priors = default_priors(series)
    if "discrepancy" in options:
        size = Distribution("fixed", options["discrepancy"])
        changed = replace(priors.parameters["discrepancy"], distribution=size)
        table = {**priors.parameters, "discrepancy": changed}
        priors = replace(priors, parameters=table)
    fit = rm.fit_rate(series, rng=rng, settings=settings, priors=priors)
    mean = float(truth.curve(np.array([at]))[0])
    low, high = fit.curve(np.array([at])).mean_interval[:, 0]
    middle, half = line_alone(fit.data.u, fit.data.y, at)
    return [low < mean < high, high - low, abs(middle - mean) < half, 2 * half]


def machines(job):
    """Rate effect between slow and fast with machines that read 1 % (sd) apart."""
    bridged, i, seed = job
    speeds = (-2.5, 0.0, 0.0) if bridged else (-2.5, 0.0)
    names = ("frame", "rig", "frame") if bridged else ("frame", "rig")
    cell = Cell("machines", speeds, 5, {"machines": names, "machine_sd": 0.01})
    rng = seeded("machines", bridged, i, seed)
    series, top, truth = simulate(cell, list(TRUTHS)[i % len(TRUTHS)], rng)
    fit = rm.fit_rate(series, rng=rng, settings=rm.Settings(draws=4096, points=512))
    u = np.array([top - 2.5, top])
    effect = np.diff(fit.mean_ln(u), axis=1)[:, 0]
    low, high = np.quantile(effect, [0.025, 0.975])
    mean = float(np.diff(truth.curve(u))[0])
    return [low < mean < high, high - low]


def run(function, jobs, workers):
    with ProcessPoolExecutor(workers) as pool:
        rows = list(
            tqdm(pool.map(function, jobs, chunksize=25), total=len(jobs), desc=function.__name__)
        )
    return np.array(rows, float)


def study_inside(args):
    rows = []
    for cell in INSIDE:
        if args.cells and args.cells not in cell.name:
            continue
        r = run(inside, [(cell, i, args.seed) for i in range(args.inside)], args.workers)
        rows.append(["inside", cell.name, args.inside, *np.round(r.mean(axis=0), 4)])
    names = [
        "part",
        "cell",
        "campaigns",
        "mean 95 %",
        "one specimen 95 %",
        "95/95",
        "99/95",
        "90/95",
    ]
    return pd.DataFrame(rows, columns=names)


def study_beyond(args, options):
    jobs = [
        (c, t, i, args.seed, options) for c in BEYOND for t in TRUTHS for i in range(args.beyond)
    ]
    r = run(beyond, jobs, args.workers).reshape(len(BEYOND), len(TRUTHS), args.beyond, 4)
    rows = []
    for k, truth in enumerate(TRUTHS):
        x = r[:, k]
        held, line = x[..., 0], x[..., 2]
        rows.append([truth, *np.round(held.mean(axis=1), 3), held.mean(), line.mean(),
                     np.median(x[..., 1] / x[..., 3])])  # fmt: skip
    for j, cell in enumerate(BEYOND):
        x = r[j]
        print(f"{cell.name}: held {x[..., 0].mean():.3f}, line {x[..., 2].mean():.3f}, "
              f"median width ratio {np.median(x[..., 1] / x[..., 3]):.2f}")  # fmt: skip
    rows.append(["overall", *np.round(r[..., 0].mean(axis=(1, 2)), 3), r[..., 0].mean(),
                 r[..., 2].mean(), np.median(r[..., 1] / r[..., 3])])  # fmt: skip
    names = ["truth", *[c.name for c in BEYOND], "held", "line alone", "width / line's"]
    return pd.DataFrame(rows, columns=names).round(3)


def study_machines(args):
    rows = []
    for bridged in (False, True):
        r = run(machines, [(bridged, i, args.seed) for i in range(args.machines)], args.workers)
        rows.append([MACHINES[bridged].name, args.machines, r[:, 0].mean(), np.median(r[:, 1])])
    return pd.DataFrame(rows, columns=["design", "campaigns", "held 95 %", "median width"]).round(4)


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--inside", type=int, default=2000)
    parser.add_argument("--beyond", type=int, default=200)
    parser.add_argument("--machines", type=int, default=2000)
    parser.add_argument(
        "--compare", type=int, default=0, help="campaigns per cell for alternatives"
    )
    parser.add_argument("--cells", default="")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--out", type=Path, default=Path("coverage-study"))
    args = parser.parse_args()
    args.out.mkdir(parents=True, exist_ok=True)
    tables = {}
    if args.beyond:
        tables["beyond"] = study_beyond(args, {})
    if args.machines:
        tables["machines"] = study_machines(args)
    if args.inside:
        tables["inside"] = study_inside(args)
    if args.compare:
        args.beyond = args.compare
        for name, options in {
            "prior weights": {"averaging": "prior"},
            "stacking": {"averaging": "stacking"},
            "no departure term": {"discrepancy": 1e-6},
            "departure 2.5 %": {"discrepancy": 0.025},
            "departure 5 %": {"discrepancy": 0.05},
        }.items():
            tables[name] = study_beyond(args, options)
    for name, table in tables.items():
        table.to_csv(
            args.out / f"coverage-{name.replace(' ', '-').replace('%', 'percent')}.csv", index=False
        )
        print(f"\n{name}\n{table.to_string(index=False)}", flush=True)
    if "inside" in tables:
        from ratemodel.charts.coverage_chart import coverage_chart

        coverage_chart(tables["inside"]).get_figure().savefig(args.out / "coverage.png", dpi=150)


if __name__ == "__main__":
    main()
