"""Read one log of any format into a `MachineLog`."""

from __future__ import annotations

import zipfile
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from ratemodel.arrays import BoolArray, FloatArray
from ratemodel.errors import InputError, Problem
from ratemodel.records.logfile.columns import Chosen, Columns, choose_columns
from ratemodel.records.logfile.log import LogMapping, MachineLog
from ratemodel.records.logfile.source import Loaded, Source
from ratemodel.records.logfile.timeaxis import TimeCheck

CHUNK_ABOVE_BYTES = 200_000_000
_FEWEST = 5
#: Beyond what any log of a break test can hold (seconds since 1970 included).
_LONGEST_S, _SHORTEST_S, _STRONGEST_N, _FURTHEST_M = 1e12, 1e-12, 1e12, 1e7
_FOREIGN = (
    (b"\xd0\xcf\x11\xe0", "an old binary spreadsheet", "XLSX or CSV"),
    (b"\x1f\x8b", "a gzip archive", "the log itself, unpacked"),
    (b"%PDF", "a PDF document", "the log as CSV, XLSX, TDMS or Parquet"),
    (b"\x89PNG", "a picture", "the log as CSV, XLSX, TDMS or Parquet"),
    (b"\x89HDF", "an HDF5 file", "the log as CSV, XLSX, TDMS or Parquet"),
    (b"MATLAB", "a binary array file", "the log as CSV, XLSX, TDMS or Parquet"),
)


def read_log(
    path: str | Path,
    mapping: LogMapping | None = None,
    *,
    chunk_above_bytes: int = CHUNK_ABOVE_BYTES,
) -> MachineLog:
    """Read a machine log: delimited text, XLSX, TDMS or Parquet, known by its first bytes.

    Parameters
    ----------
    path : str or Path
        The file.
    mapping : LogMapping, optional
        Columns, units and layout where the file leaves them open.
    chunk_above_bytes : int
        Text files longer than this are read in chunks and thinned, see `Thinner`.

    Raises
    ------
    InputError
        One line naming file, row and column, what is wrong and what would be right.
    """
    place = Path(path)
    mapping = mapping or LogMapping()
    mapping.check()
    source = _open(place, mapping, chunk_above_bytes)
    clocked = source.sample_interval_s is not None
    columns = choose_columns(source.names, source.units, mapping, file=place.name, clocked=clocked)
    chosen = [c for c in (columns.time, columns.position, columns.force) if c is not None]
    loaded = source.load(tuple(c.index for c in chosen))
    return _finish(place.name, source, columns, loaded, mapping)


def _open(path: Path, mapping: LogMapping, chunk_above: int) -> Source:
    try:
        if not path.is_file():
            what = "a folder" if path.is_dir() else "no such file"
            raise InputError(what, "a log file", file=path.name or str(path))
        with path.open("rb") as stream:
            head = stream.read(8)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(f"not readable ({reason})", "a log file", file=path.name) from error
    if not head:
        raise InputError("the file is empty", "a log", file=path.name)
    for magic, what, remedy in _FOREIGN:
        if head.startswith(magic):
            raise InputError(what, remedy, file=path.name)
    if head.startswith(b"PK\x03\x04") or (head.startswith(b"PK") and zipfile.is_zipfile(path)):
        from ratemodel.records.logfile.spreadsheet import SpreadsheetSource

        return SpreadsheetSource(path, mapping)
    if head.startswith(b"TDSm"):
        from ratemodel.records.logfile.tdms import TdmsSource

        return TdmsSource(path, mapping)
    if head.startswith(b"PAR1"):
        from ratemodel.records.logfile.parquet import ParquetSource

        return ParquetSource(path)
    from ratemodel.records.logfile.text import TextSource

    return TextSource(path, mapping, chunk_above=chunk_above)


def _to_si(array: FloatArray, chosen: Chosen) -> FloatArray:
    if chosen.unit.factor == 1.0:
        return array
    return np.multiply(array, chosen.unit.factor)


def _finite_rows(arrays: Sequence[FloatArray]) -> BoolArray | slice:
    """Return the rows with a number in every column; all of them without looking at each."""
    if all(np.isfinite(a.sum()) for a in arrays):
        return slice(None)
    finite = np.logical_and.reduce([np.isfinite(a) for a in arrays])
    return slice(None) if finite.all() else finite


def _finish(
    file: str, source: Source, columns: Columns, loaded: Loaded, mapping: LogMapping
) -> MachineLog:
    """Numbers to SI, rows without numbers left out, the time axis checked."""
    findings = list(loaded.findings)
    factor = columns.time.unit.factor if columns.time else 1.0
    clock = loaded.clock
    if clock is not None:
        findings.extend(clock.findings(factor))
    arrays = list(loaded.arrays)
    finite = _finite_rows(arrays)
    if isinstance(finite, np.ndarray):
        missing = int(np.count_nonzero(~finite))
        message = f"{missing} of {len(finite)} rows lack a number and were left out"
        findings.append(Problem("samples-missing", message, "caution"))
        if columns.time is not None:
            arrays = [a[finite] for a in arrays]
    if len(arrays[0]) < _FEWEST:
        raise InputError(
            f"{len(arrays[0])} samples", f"at least {_FEWEST} samples in a log", file=file
        )
    force = _to_si(arrays.pop(), columns.force)
    time = np.empty(0) if columns.time is None else _to_si(arrays.pop(0), columns.time)
    position = _to_si(arrays.pop(0), columns.position) if columns.position else None
    if columns.time is None:
        interval = mapping.sample_rate_Hz and 1.0 / mapping.sample_rate_Hz
        interval = interval or source.sample_interval_s or 0.0
        # the clock runs through rows left out, so they are dropped after it is made
        time = np.asarray(np.arange(len(force)) * interval, dtype=np.float64)[finite]
        force = force[finite]
        position = None if position is None else position[finite]
    return _checked(
        MachineLog(
            name=file,
            time_s=time,
            position_m=position,
            force_N=force,
            columns=(
                columns.time.name if columns.time else "",
                columns.position.name if columns.position else "",
                columns.force.name,
            ),
            raw_columns=source.names,
            sha256=source.sha256,
            sample_interval_s=0.0 if clock is None else clock.step * factor,
            rows=loaded.rows,
            findings=tuple(findings),
        ),
    )


def _refuse_unreal(log: MachineLog) -> None:
    """Numbers that no machine reads would overflow in every sum of squares made of them."""
    parts = (("time", log.time_s, _LONGEST_S, "s"), ("force", log.force_N, _STRONGEST_N, "N"),
             ("position", log.position_m, _FURTHEST_M, "m"))  # fmt: skip
    names = dict(zip(("time", "position", "force"), log.columns, strict=True))
    for kind, values, limit, unit in parts:
        if values is None or not len(values):
            continue
        worst = max(float(values.max()), -float(values.min()))
        if worst > limit:
            raise InputError(
                f"a {kind} of {worst:.3g} {unit} is beyond any real value",
                f"at most {limit:.0e} {unit}; look at the unit and for damaged rows",
                file=log.name, column=names[kind] or None,
            )  # fmt: skip


def _checked(log: MachineLog) -> MachineLog:
    """Put the time axis in order; nothing is sorted, only flipped as a whole."""
    from dataclasses import replace

    _refuse_unreal(log)
    findings = list(log.findings)
    time, force, position = log.time_s, log.force_N, log.position_m
    if time[-1] < time[0] and bool(np.all(np.diff(time) <= 0)):
        time, force = time[::-1], force[::-1]
        position = None if position is None else position[::-1]
        message = "the rows run from the last sample to the first and were turned round"
        findings.append(Problem("rows-reversed", message, "caution"))
    check = TimeCheck()
    repeated = check.add(time, force)
    if log.sample_interval_s == 0.0:  # else the clock was checked before the log was thinned
        findings.extend(check.findings())
    if check.step == 0.0:
        raise InputError(
            "time never moves on", "a time that increases", file=log.name, column=log.columns[0]
        )
    if check.step < _SHORTEST_S:
        raise InputError(f"samples {check.step:.3g} s apart", f"at least {_SHORTEST_S:.0e} s",
                         file=log.name, column=log.columns[0] or None)  # fmt: skip
    if len(repeated):
        time, force = np.delete(time, repeated), np.delete(force, repeated)
        position = None if position is None else np.delete(position, repeated)
    if position is None:
        message = "the log has no position: no strain, strain rate, stiffness or energy"
        findings.append(Problem("no-position", message, "caution"))
    return replace(
        log,
        time_s=np.ascontiguousarray(time),
        force_N=np.ascontiguousarray(force),
        position_m=None if position is None else np.ascontiguousarray(position),
        sample_interval_s=log.sample_interval_s or check.step,
        findings=tuple(findings),
    )
