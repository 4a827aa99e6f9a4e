"""Kill `ratemodel analyse` at random moments and look at what stands in its folder.

    python tests/studies/kill_runs.py --kills 60

The program is imported once; each run is a fork that is killed (SIGKILL) either anywhere in its
life or while it writes. Afterwards every file must be whole: JSON and SVG parse, HTML and PNG end
as they should. With ``--writing-only`` two finished sets of files are written in turn instead, and
every file must be one of the two to the byte; that takes seconds.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import json
import os
import random
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import defusedxml.ElementTree as ElementTree

from ratemodel.cli import main as ratemodel
from ratemodel.writing import PREFIX, SUFFIX, write_folder

TOML = 'name = "kill test"\n[series.cord]\nmaterial = "HMPE"\n'
BREAKS = "specimen,series,strain_rate_per_s,peak_force_kN\n" + "".join(
    f"s{i},cord,{rate},{force}\n"
    for i, (rate, force) in enumerate(
        [(1e-3, 10.1), (1e-3, 10.4), (1e-3, 10.2), (1.0, 9.5), (1.0, 9.2), (1.0, 9.4)]
    )
)
ENDS = {".html": b"</html>", ".png": b"IEND\xaeB`\x82"}


def broken(path: Path) -> str:
    """Why a file is not whole, or nothing."""
    data = path.read_bytes()
    try:
        if path.suffix == ".json":
            if "software" not in json.loads(data, parse_constant=lambda c: 1 / 0):
                return "not the whole of results.json"
        elif path.suffix == ".svg":
            ElementTree.fromstring(data)
        elif path.suffix in ENDS and not data.rstrip().endswith(ENDS[path.suffix]):
            return "no end"
    except Exception as error:
        return f"{type(error).__name__}: {error}"
    return "" if data else "empty"


def files_in(folder: Path) -> dict[str, bytes]:
    if not folder.is_dir():
        return {}
    return {p.name: p.read_bytes() for p in sorted(folder.iterdir()) if not unfinished(p)}


def unfinished(path: Path) -> bool:
    return path.name.startswith(PREFIX) and path.name.endswith(SUFFIX)


def fork_and_kill(work: Callable[[], object], wait: Callable[[int], None]) -> bool:
    """Run work in a fork and kill it after ``wait``; whether it was still running."""
    child = os.fork()
    if child == 0:
        with contextlib.suppress(BaseException), contextlib.redirect_stdout(io.StringIO()):
            work()
        os._exit(0)
    wait(child)
    os.kill(child, signal.SIGKILL)
    return os.WIFSIGNALED(os.waitpid(child, 0)[1])


def wait_for_writing(out: Path, more_s: float, most_s: float) -> None:
    """Until something is being written, and a little longer."""
    end = time.monotonic() + most_s
    while time.monotonic() < end:
        if out.is_dir() and any(unfinished(p) for p in out.iterdir()):
            time.sleep(more_s)
            return
        time.sleep(0.0005)


def kill_commands(kills: int, rng: random.Random, folder: Path) -> Counter[str]:
    """Kill the whole command; half of the kills fall into its writing."""
    campaign, out, done = folder / "campaign", folder / "out", Counter[str]()
    campaign.mkdir()
    (campaign / "campaign.toml").write_text(TOML)
    (campaign / "breaks.csv").write_text(BREAKS)

    def run(seed: int) -> None:
        ratemodel(["analyse", str(campaign), "--out", str(out), "--draws", "1000",
                   "--seed", str(seed)])  # fmt: skip

    start = time.monotonic()
    with contextlib.redirect_stdout(io.StringIO()):
        run(0)
    duration = time.monotonic() - start
    for i in range(1, kills + 1):
        before = files_in(out)
        if i % 2:
            delay = rng.uniform(0.0, duration)
            alive = fork_and_kill(lambda i=i: run(i), lambda _, d=delay: time.sleep(d))
        else:
            more = rng.uniform(0.0, 0.05)
            alive = fork_and_kill(lambda i=i: run(i), lambda _, m=more: wait_for_writing(
                out, m, 5 * duration))  # fmt: skip
        after = files_in(out)
        done["kills"] += 1
        done["killed alive"] += alive
        done["while writing"] += alive and (
            any(unfinished(p) for p in out.iterdir()) or after != before
        )
        done["files looked at"] += len(after)
        done["files lost"] += len(before.keys() - after.keys())
        for name in after:
            why = broken(out / name)
            done["broken files"] += bool(why)
            if why:
                print(f"kill {i}: {name}: {why}")
    return done


def kill_writing(kills: int, rng: random.Random, folder: Path) -> Counter[str]:
    """Write one of two sets of files over the other and kill that."""
    out, done = folder / "out", Counter[str]()
    sets = [{f"file-{k}.bin": bytes([v]) * (20_000 + 40_000 * k) for k in range(12)}
            for v in (65, 66)]  # fmt: skip
    start = time.monotonic()
    write_folder(out, sets[0])
    duration = time.monotonic() - start
    for i in range(1, kills + 1):
        work = lambda i=i: write_folder(out, sets[i % 2])  # noqa: E731
        more = rng.uniform(0.0, duration)
        alive = fork_and_kill(work, lambda _, m=more: wait_for_writing(out, m, 5.0))
        after = files_in(out)
        done["kills"] += 1
        done["killed alive"] += alive
        done["files looked at"] += len(after)
        done["files lost"] += len(sets[0].keys() - after.keys())
        done["broken files"] += sum(
            content not in (sets[0][name], sets[1][name]) for name, content in after.items()
        )
    return done


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=60)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--writing-only", action="store_true")
    arguments = parser.parse_args()
    kind = kill_writing if arguments.writing_only else kill_commands
    with tempfile.TemporaryDirectory() as folder:
        done = kind(arguments.kills, random.Random(arguments.seed), Path(folder))
    print(json.dumps({**done, "broken files": done["broken files"]}))
    return 1 if done["broken files"] or done["files lost"] else 0


if __name__ == "__main__":
    sys.exit(main())
