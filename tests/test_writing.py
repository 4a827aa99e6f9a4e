"""Files stand whole at every moment, whatever stops the run."""

import json
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from ratemodel import writing
from ratemodel.errors import InputError
from ratemodel.writing import write_folder, write_whole

HARNESS = Path(__file__).parent / "studies" / "kill_runs.py"
FORKS = pytest.mark.skipif(not hasattr(os, "fork"), reason="kills forked runs; no fork here")
ROOT = Path(writing.__file__).resolve().parents[1]


def killed(*arguments: str) -> dict[str, int]:
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    run = subprocess.run(
        [sys.executable, str(HARNESS), *arguments],
        capture_output=True, text=True, timeout=1200, env=environment,
    )  # fmt: skip
    assert run.returncode == 0, run.stdout + run.stderr
    return json.loads(run.stdout.splitlines()[-1])


@FORKS
def test_killed_while_writing_every_file_is_the_old_or_the_new_to_the_byte():
    done = killed("--kills", "40", "--writing-only")
    assert done["kills"] == 40
    assert done["killed alive"] >= 1
    assert done["broken files"] == 0
    assert done["files looked at"] == 40 * 12


@FORKS
def test_an_analysis_killed_at_any_moment_leaves_whole_files():
    done = killed("--kills", "6")
    assert done["killed alive"] >= 1
    assert done["broken files"] == 0


@FORKS
@pytest.mark.study
def test_sixty_kills():
    done = killed("--kills", "60")
    assert done["killed alive"] >= 50
    assert done["while writing"] >= 20
    assert done["broken files"] == 0


def test_all_files_are_ready_before_the_first_is_put_in_its_place(tmp_path, monkeypatch):
    write_folder(tmp_path, {"a": b"old", "b": b"old"})
    seen = []
    replace = os.replace

    def watched(source, target):
        seen.append({p.name: p.read_bytes() for p in tmp_path.iterdir()})
        replace(source, target)

    monkeypatch.setattr(writing.os, "replace", watched)
    write_folder(tmp_path, {"a": b"new", "b": b"new"})
    assert sorted(seen[0].values()) == [b"new", b"new", b"old", b"old"]
    assert seen[1]["a"] == b"new"
    assert seen[1]["b"] == b"old"
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == {"a": b"new", "b": b"new"}


@pytest.mark.parametrize("error", [KeyboardInterrupt("stop"), OSError(28, "No space left")])
def test_a_run_stopped_between_files_leaves_nothing_unfinished(tmp_path, monkeypatch, error):
    write_folder(tmp_path, {"a": b"old", "b": b"old"})
    calls = []

    def stops(handle):
        calls.append(handle)
        if len(calls) == 2:
            raise error

    monkeypatch.setattr(writing.os, "fsync", stops)
    with pytest.raises((KeyboardInterrupt, InputError), match=r"stop|No space left"):
        write_folder(tmp_path, {"a": b"new", "b": b"new"})
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == {"a": b"old", "b": b"old"}


def test_what_a_killed_run_left_goes_with_the_next_and_a_running_one_is_left_alone(tmp_path):
    old, young, other = (tmp_path / n for n in (".ratemodel-1.tmp", ".ratemodel-2.tmp", "mine"))
    for path in (old, young, other):
        path.write_bytes(b"x")
    long_ago = time.time() - 2 * writing.STALE_S
    for path in (old, other):
        os.utime(path, (long_ago, long_ago))
    write_folder(tmp_path, {"a": b"new"})
    assert sorted(p.name for p in tmp_path.iterdir()) == [".ratemodel-2.tmp", "a", "mine"]


def test_a_folder_in_the_place_of_a_file_is_one_clear_line(tmp_path):
    (tmp_path / "a").mkdir()
    with pytest.raises(InputError, match="can not write to"):
        write_whole(tmp_path / "a", b"x")
    assert [p.name for p in tmp_path.iterdir()] == ["a"]


def test_a_missing_folder_is_one_clear_line(tmp_path):
    with pytest.raises(InputError, match="can not write to"):
        write_whole(tmp_path / "none" / "a", b"x")
