"""Finished series kept in a folder, so that a run that was stopped goes on where it was.

One file per finished chunk, JSON lines, written whole or not at all. Each line carries the hash of
everything its rows follow from: a line whose data, settings, seed or version have changed is not
used, so a stale folder costs time and nothing else. A file that can not be read counts as absent.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Sequence
from pathlib import Path

from ratemodel.errors import InputError
from ratemodel.many.work import Cell, Outcome
from ratemodel.writing import write_folder

_LARGEST = 64 * 2**20


def finished(folder: Path) -> dict[str, Outcome]:
    """Outcomes kept in a folder, by their key.

    Raises
    ------
    InputError
        The path is no folder.
    """
    if folder.exists() and not folder.is_dir():
        raise InputError(f"the checkpoint {folder} is a file", "a folder, existing or new")
    found: dict[str, Outcome] = {}
    for path in sorted(folder.glob("chunk-*.jsonl")):
        if path.is_symlink() or not path.is_file() or path.stat().st_size > _LARGEST:
            continue
        for line in path.read_bytes().splitlines():
            outcome = _parse(line)
            if outcome is not None:
                found[outcome.key] = outcome
    return found


def keep(folder: Path, outcomes: Sequence[Outcome]) -> None:
    """Add the series of a finished chunk that gave rows."""
    done = [o for o in outcomes if o.rows]
    if not done:
        return
    lines = [
        json.dumps({"key": o.key, "series": o.name, "rows": o.rows}, allow_nan=False) for o in done
    ]
    name = hashlib.sha256("".join(o.key for o in done).encode()).hexdigest()[:24]
    write_folder(folder, {f"chunk-{name}.jsonl": ("\n".join(lines) + "\n").encode("ascii")})


def _parse(line: bytes) -> Outcome | None:
    try:
        entry = json.loads(line)
    except (ValueError, RecursionError):
        return None
    if not isinstance(entry, dict):
        return None
    key, name, rows = entry.get("key"), entry.get("series"), entry.get("rows")
    if not (isinstance(key, str) and isinstance(name, str) and isinstance(rows, list) and rows):
        return None
    clean = [row for row in rows if isinstance(row, dict) and all(map(_cell, row.values()))]
    return Outcome(name, key, tuple(clean)) if len(clean) == len(rows) else None


def _cell(value: Cell | object) -> bool:
    return isinstance(value, str | int) or (isinstance(value, float) and math.isfinite(value))
