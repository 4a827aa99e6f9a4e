"""How fast and in how much memory logs are read and reduced; run by hand, prints ratios.

    python tests/bench/bench_logs.py [--big] [--logs 500]

Claims (not asserted, they depend on the machine): 1 000 000 rows read, hashed and reduced in at
most 3 × a bare ``pandas.read_csv``; peak memory at most 4 × the table; a file over 500 MB in
memory that does not grow with it; 500 logs on two workers at least 1.7 × one worker.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

from ratemodel.records.logfile import read_log
from ratemodel.reduction import ReductionSettings, reduce_log, reduce_logs
from ratemodel.simulate_logs import LogTruth, PreloadTruth, simulate_log, write_log_csv

SEED = 20261125
TRUTH = LogTruth(preload=PreloadTruth(cycles=5), force_noise_N=15.0, position_noise_m=2e-6)
SETTINGS = ReductionSettings(free_length_m=TRUTH.free_length_m)
MEMORY = """
import sys
import numpy as np, pandas
from ratemodel.records.logfile import read_log
from ratemodel.reduction import ReductionSettings, reduce_log
small, path, chunk = sys.argv[1], sys.argv[2], int(sys.argv[3])
s = ReductionSettings(free_length_m=0.5)
reduce_log(read_log(small, s.mapping), s)
def highest():
    return int(next(x for x in open("/proc/self/status") if "VmHWM" in x).split()[1])
before = highest()
record = reduce_log(read_log(path, s.mapping, chunk_above_bytes=chunk), s)
after = highest()
print((after - before) / 1024, record.peak_force_N, record.strain_rate_per_s, len(record.cycles))
"""


def write_long(path: Path, rows: int, rng: np.random.Generator) -> None:
    """A log of about so many rows."""
    duration = simulate_log(TRUTH, rng).time_s[-1]
    write_log_csv(simulate_log(replace(TRUTH, sample_rate_Hz=rows / duration), rng), path)


def best(work: Callable[[], object], times: int = 9) -> float:
    """Shortest of some runs, the least disturbed by other work on the machine."""
    shortest = np.inf
    for _ in range(times):
        start = time.perf_counter()
        work()
        shortest = min(shortest, time.perf_counter() - start)
    return float(shortest)


def memory(folder: Path, path: Path, chunk: int) -> list[float]:
    """Growth of peak resident memory (MB) over that of a small log; peak, rate, cycles."""
    out = subprocess.run(
        [sys.executable, "-c", MEMORY, str(folder / "small.csv"), str(path), str(chunk)],
        check=True,
        capture_output=True,
        text=True,
    )
    return [float(x) for x in out.stdout.split()]


def main() -> None:
    """Run and print."""
    import pandas as pd

    parser = argparse.ArgumentParser()
    parser.add_argument("--big", action="store_true", help="also a file over 500 MB")
    parser.add_argument("--logs", type=int, default=500)
    options = parser.parse_args()
    rng = np.random.default_rng(SEED)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_long(folder / "small.csv", 2_000, rng)
        million = folder / "million.csv"
        write_long(million, 1_000_000, rng)
        table = int(pd.read_csv(million).memory_usage(deep=True).sum()) / 2**20
        bare = best(lambda: pd.read_csv(million))
        ours = best(lambda: reduce_log(read_log(million), SETTINGS))
        print(
            f"1 000 000 rows: bare {bare:.4f} s, read + hash + reduce {ours:.4f} s,"
            f" ratio {ours / bare:.2f} (claim ≤ 3)"
        )
        grown = memory(folder, million, 200_000_000)[0]
        print(
            f"memory: table {table:.1f} MB, grown by {grown:.1f} MB, ratio {grown / table:.2f}"
            " (claim ≤ 4)"
        )
        if options.big:
            big(folder, million, rng)
        many(folder, options.logs, rng)


def big(folder: Path, million: Path, rng: np.random.Generator) -> None:
    """Memory for 7, 14 and 21 million rows, the last over 500 MB."""
    for rows in (7_000_000, 14_000_000, 21_000_000):
        path = folder / "big.csv"
        write_long(path, rows, rng)
        start = time.perf_counter()
        grown, peak, rate, cycles = memory(folder, path, 100_000_000)
        print(
            f"{path.stat().st_size / 1e6:.0f} MB in chunks: grown by {grown:.0f} MB, peak"
            f" {peak:.1f} N, rate {rate:.6f} /s, {cycles:.0f} cycles,"
            f" {time.perf_counter() - start:.1f} s"
        )
        path.unlink()


def many(folder: Path, count: int, rng: np.random.Generator) -> None:
    """One worker against two."""
    paths = []
    for number in range(count):
        path = folder / f"log-{number}.csv"
        write_log_csv(simulate_log(replace(TRUTH, sample_rate_Hz=1000), rng), path)
        paths.append(path)
    times = []
    for workers in (1, 2):
        start = time.perf_counter()
        table = reduce_logs(paths, settings=SETTINGS, workers=workers, progress=False)
        times.append(time.perf_counter() - start)
        assert len(table.records) == count
    print(
        f"{count} logs of {len(simulate_log(replace(TRUTH, sample_rate_Hz=1000), rng))} rows:"
        f" {times[0]:.2f} s on one worker, {times[1]:.2f} s on two,"
        f" {times[0] / times[1]:.2f} × (claim ≥ 1.7)"
    )


if __name__ == "__main__":
    main()
