"""Every benchmark, each beside its baseline in the same run, as a Markdown table.

    python tests/bench/run.py [--quick]

Ratios move less with the machine than seconds; neither is asserted anywhere.
"""

from __future__ import annotations

import argparse
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

# one thread, so that ratios do not depend on how many cores are free
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import baselines
import bench_event
import bench_logs
import numpy as np

from ratemodel.inference.average import Settings, fit_rate
from ratemodel.many import ManyRun, fit_many
from ratemodel.records.tables import Series
from ratemodel.simulate import Design, FibreAndHeat, Label, Truth, simulate_series

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "data-demo" / "kite-tether"
DRAWS = 20_000
Row = tuple[str, str, str, str]


def best(work: Callable[[], object], times: int = 5) -> float:
    """Shortest of some runs, the least disturbed by other work on the machine."""
    shortest = np.inf
    for _ in range(times):
        start = time.perf_counter()
        work()
        shortest = min(shortest, time.perf_counter() - start)
    return float(shortest)


def made(specimens: int, *, spools: int = 1, held: float = 0.0, name: str = "cord") -> Series:
    """A series of three speeds on two machines."""
    each = (specimens // 3, specimens // 3, specimens - 2 * (specimens // 3))
    design = Design((-4.0, -2.0, 0.0), each, ("slow", "slow", "fast"), spools=spools,
                    censor_fraction=held)  # fmt: skip
    truth = Truth(FibreAndHeat(), batch_sd=0.02 if spools > 1 else 0.0)
    seed = [specimens, spools, sum(name.encode())]
    return simulate_series(truth, design, np.random.default_rng(seed), label=Label(name))


def fit(series: Series, draws: int = DRAWS) -> object:
    return fit_rate(series, rng=np.random.default_rng(1), settings=Settings(draws=draws))


def fits(quick: bool) -> Iterator[Row]:
    rng = np.random.default_rng(1)
    plain, hard = made(30), made(30, spools=4, held=0.1)
    what = f"averaged draws of 8 models, 30 specimens, {DRAWS} draws"
    mine = best(lambda: fit(plain))
    u, y = np.log10(plain.used.strain_rate_per_s), np.log(plain.used.strength)
    one = baselines.bootstrap_refits(u, y, 100 if quick else 400, rng)
    yield what, f"{mine:.3f} s", f"{one * DRAWS:.0f} s: {DRAWS} lmfit refits of one model", (
        f"{one * DRAWS / mine:.0f} times faster")  # fmt: skip
    theirs = baselines.emcee_draws(u, y, DRAWS)
    yield what, f"{mine:.3f} s", f"{theirs:.1f} s: as many raw emcee draws of one model (lmfit)", (
        f"{theirs / mine:.0f} times faster")  # fmt: skip
    spool = np.array([int(b.split("-")[1]) - 1 for b in hard.used.batch])
    rows = (np.log10(hard.used.strain_rate_per_s), np.log(hard.used.strength), hard.used.broke)
    mine = best(lambda: fit(hard), 3)
    one = baselines.censored_refits((*rows, spool), 10 if quick else 40, rng)
    yield "the same with 10 % censored and 4 spools", f"{mine:.3f} s", (
        f"{one * DRAWS:.0f} s: {DRAWS} lmfit refits of one model"), (
        f"{one * DRAWS / mine:.0f} times faster")  # fmt: skip


def exponent(x: list[float], y: list[float]) -> float:
    return float(np.polyfit(np.log(x), np.log(y), 1)[0])


def growth(quick: bool) -> Iterator[Row]:
    draws = [20_000, 80_000, 320_000]
    cost = [best(lambda d=d: fit(made(30), d), 3) for d in draws]
    yield "cost against draws, 20 000 to 320 000", f"{cost[0]:.2f} to {cost[-1]:.2f} s", (
        "linear"), f"exponent {exponent(draws, cost):.2f}"  # fmt: skip
    many = [30, 300, 3000, 30_000]
    cost = [best(lambda n=n: fit(made(n)), 3) for n in many]
    yield "cost against specimens, 30 to 30 000", f"{cost[0]:.2f} to {cost[-1]:.2f} s", (
        "linear"), f"exponent {exponent(many, cost):.2f}"  # fmt: skip
    held = [30, 120, 480] if quick else [30, 120, 480, 960]
    cost = [best(lambda n=n: fit(made(n, held=0.1)), 1) for n in held]
    yield f"the same, 10 % censored, 30 to {held[-1]}", f"{cost[0]:.2f} to {cost[-1]:.2f} s", (
        "linear"), f"exponent {exponent(held, cost):.2f}"  # fmt: skip


def events(quick: bool) -> Iterator[Row]:
    for name, (ours, loop) in bench_event.cases().items():
        mine, theirs = bench_event.timed(ours, loop)
        slow = f"{theirs:.0f} s: loop over solve_ivp"
        faster = f"{theirs / mine:.0f} times faster"
        yield f"{bench_event.DRAWS} falls: {name}", f"{mine:.3f} s", slow, faster


def logs(quick: bool) -> Iterator[Row]:
    import pandas as pd

    from ratemodel.records.logfile import read_log
    from ratemodel.reduction import reduce_log

    settings = bench_logs.SETTINGS
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "million.csv"
        bench_logs.write_long(path, 1_000_000, np.random.default_rng(bench_logs.SEED))
        theirs = best(lambda: pd.read_csv(path))
        mine = best(lambda: reduce_log(read_log(path, settings.mapping), settings))
    yield "1 000 000 rows of a log read, hashed and reduced", f"{mine:.2f} s", (
        f"{theirs:.2f} s: bare pandas.read_csv"), f"{mine / theirs:.1f} times as long"  # fmt: skip


def fresh(code: str, times: int = 7) -> float:
    """Median seconds of a fresh interpreter."""
    seconds = []
    for _ in range(times):
        start = time.perf_counter()
        run_fresh(code.split("\x00"))
        seconds.append(time.perf_counter() - start)
    return statistics.median(seconds)


def run_fresh(arguments: list[str]) -> str:
    return subprocess.run([sys.executable, *arguments], capture_output=True, text=True, check=True,
                          env={**os.environ, "PYTHONPATH": str(ROOT)}).stdout  # fmt: skip


def peak_memory(code: str) -> float:
    """Peak memory (MB) of a fresh interpreter that runs some code, its own and not its parent's."""
    told = "print(next(x for x in open('/proc/self/status') if 'VmHWM' in x))"
    return float(run_fresh(["-c", f"{code}\n{told}"]).splitlines()[-2].split()[1]) / 1024


FIRST_FIT = """
import numpy as np
import ratemodel as rm
campaign = rm.read_campaign(rm.demo_folder())
rm.fit_rate(next(iter(campaign.series.values())), rng=np.random.default_rng(1))
"""


def starts(quick: bool) -> Iterator[Row]:
    bare, ours = fresh("-c\0pass", 15), fresh("-c\0import ratemodel", 15)
    yield "import ratemodel", f"{1e3 * ours:.0f} ms", f"{1e3 * bare:.0f} ms: bare interpreter", (
        f"{1e3 * (ours - bare):.0f} ms more (at most 50)")  # fmt: skip
    ours = fresh("-m\0ratemodel\0--help", 15)
    yield "ratemodel --help", f"{1e3 * ours:.0f} ms", f"{1e3 * bare:.0f} ms: bare interpreter", (
        f"{1e3 * (ours - bare):.0f} ms more (at most 150)")  # fmt: skip
    other, ours = fresh("-c\0import lmfit"), fresh(f"-c\0{FIRST_FIT}")
    alone = f"{other:.2f} s: import lmfit alone"
    yield "first fit in a fresh process", f"{ours:.2f} s, {peak_memory(FIRST_FIT):.0f} MB", (
        alone), f"{ours / other:.1f} times (at most 1.5 s)"  # fmt: skip
    with tempfile.TemporaryDirectory() as folder:
        command = ["analyse", str(DEMO), "--out", folder]
        ours = fresh("\0".join(["-m", "ratemodel", *command]), 1 if quick else 3)
        memory = peak_memory(f"from ratemodel.cli import main\nmain({command!r})")
    yield "ratemodel analyse data-demo/kite-tether, cold", f"{ours:.1f} s, {memory:.0f} MB", (
        alone), f"{ours / other:.0f} times (at most 10 s, 500 MB)"  # fmt: skip


def many(quick: bool) -> Iterator[Row]:
    few, lots = (20, 100) if quick else (100, 2000)
    series = [made(20, name=f"cord-{i}") for i in range(lots)]
    settings, run = Settings(draws=4000), ManyRun(progress=False, chunk=10)

    def timed(count: int, executor: ProcessPoolExecutor | None = None) -> float:
        start = time.perf_counter()
        fit_many(series[:count], seed=1, rates=[1e-3, 1.0], settings=settings, executor=executor,
                 run=run)  # fmt: skip
        return time.perf_counter() - start

    timed(10)
    small, after_few = timed(few), resident()
    large, after_lots = timed(lots), resident()
    yield f"fit_many, {few} series of 20", f"{1e3 * small / few:.0f} ms a series", (
        f"{1e3 * large / lots:.0f} ms a series: {lots} series"), (
        f"{(large / lots) / (small / few):.2f} times as long")  # fmt: skip
    yield f"peak memory of fit_many, {few} series", f"{after_few:.0f} MB", (
        f"{after_lots:.0f} MB: {lots} series"), (
        f"{1e3 * (after_lots - after_few) / (lots - few):.1f} kB a further series")  # fmt: skip
    count = min(lots, 400)
    control = in_processes(1, arithmetic)[0], in_processes(2, arithmetic)[0]
    yield "the machine itself: bare arithmetic, two processes", f"{control[1]:.1f} s", (
        f"{control[0]:.1f} s: one process"), (
        f"{control[0] / control[1]:.2f} times faster, the most to be had")  # fmt: skip
    (alone, spent), (pair, both) = (in_processes(n, lambda e: timed(count, e)) for n in (1, 2))
    yield f"fit_many, {count} series, two processes", f"{pair:.1f} s, {both:.1f} s of processor", (
        f"{alone:.1f} s, {spent:.1f} s of processor: one process"), (
        f"{alone / pair:.2f} times faster; {2 * spent / both:.2f} with two free cores")  # fmt: skip


def loop(count: int) -> int:
    return sum(i * i for i in range(count))


def arithmetic(pool: ProcessPoolExecutor) -> float:
    """Seconds of eight loops that touch no memory."""
    start = time.perf_counter()
    list(pool.map(loop, [5_000_000] * 8))
    return time.perf_counter() - start


def resident() -> float:
    """Peak memory so far, MB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def in_processes(count: int, work: Callable[[ProcessPoolExecutor], float]) -> tuple[float, float]:
    """Seconds of some work on a warm pool of processes, and processor seconds of its workers."""

    def used() -> float:
        spent = resource.getrusage(resource.RUSAGE_CHILDREN)
        return spent.ru_utime + spent.ru_stime

    before = used()
    with ProcessPoolExecutor(count, mp_context=get_context("spawn")) as pool:
        work(pool)
    warm = used() - before
    with ProcessPoolExecutor(count, mp_context=get_context("spawn")) as pool:
        list(pool.map(fit, [made(20)] * 2 * count))
        seconds = work(pool)
    return seconds, used() - before - warm


# memory first: the peak of a process never falls
SECTIONS = (many, starts, fits, growth, events, logs)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="fewer repetitions")
    parser.add_argument(
        "sections", nargs="*", help="some of " + ", ".join(s.__name__ for s in SECTIONS)
    )
    arguments = parser.parse_args()
    print("| what | ratemodel | baseline | ratio |\n|---|---|---|---|", flush=True)
    for section in SECTIONS:
        if not arguments.sections or section.__name__ in arguments.sections:
            for row in section(arguments.quick):
                print("| " + " | ".join(row) + " |", flush=True)


if __name__ == "__main__":
    main()
