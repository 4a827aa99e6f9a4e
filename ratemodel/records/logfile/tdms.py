"""TDMS logs, the open measurement format of many load-cell loggers."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError
from ratemodel.records.logfile.log import LogMapping
from ratemodel.records.logfile.source import Loaded, hash_file, missing_extra, refuse_infinite

_UNIT_KEYS = ("unit_string", "NI_UnitDescription", "unit")


class TdmsSource:
    """Channels of a TDMS file as columns; see `Source`."""

    def __init__(self, path: Path, mapping: LogMapping) -> None:
        try:
            from nptdms import TdmsFile
        except ImportError as error:
            raise missing_extra("npTDMS", "a TDMS file") from error
        self.file, self._path, self._reader = path.name, path, TdmsFile
        self.sha256 = hash_file(path)
        try:
            with self._opened() as tdms:
                channels = [c for g in tdms.groups() for c in g.channels() if len(c)]
                self._keys = [(c.group_name, c.name) for c in channels]
                lengths = [len(c) for c in channels]
                units = [_unit(c.properties) for c in channels]
                steps = {float(c.properties.get("wf_increment", 0.0) or 0.0) for c in channels}
        except InputError:
            raise
        except Exception as error:  # the reader raises many kinds for a damaged file
            raise _damaged(error, self.file) from error
        if not channels:
            raise InputError(
                "no channel with samples", "channels of time and force", file=self.file
            )
        if max(lengths) > 64 * path.stat().st_size:
            raise InputError(
                f"a channel of {max(lengths)} samples in so small a file", "a log", file=self.file
            )
        groups = {g for g, _ in self._keys}
        self.names = tuple(n if len(groups) == 1 else f"{g}/{n}" for g, n in self._keys)
        self.units = tuple(units)
        self._lengths = lengths
        steps.discard(0.0)
        self.sample_interval_s = steps.pop() if len(steps) == 1 else None

    @contextmanager
    def _opened(self) -> Iterator[Any]:
        """Open the file; what the reader logs of damaged text is not for the terminal."""
        loggers = [logging.getLogger(n) for n in list(logging.root.manager.loggerDict)]
        quiet = [x for x in loggers if x.name.startswith("nptdms") and not x.disabled]
        for logger in quiet:
            logger.disabled = True
        try:
            with self._path.open("rb") as stream, self._reader.open(stream) as tdms:
                yield tdms
        finally:
            for logger in quiet:
                logger.disabled = False

    def load(self, indices: tuple[int, ...]) -> Loaded:
        """Read the samples of these channels."""
        lengths = {self._lengths[i] for i in indices}
        if len(lengths) > 1:
            given = ", ".join(f"{self.names[i]!r} {self._lengths[i]}" for i in indices)
            raise InputError(
                f"channels of unequal length ({given})",
                "channels sampled together",
                file=self.file,
            )
        try:
            with self._opened() as tdms:
                arrays = [self._channel(tdms, i) for i in indices]
        except InputError:
            raise
        except Exception as error:  # the reader raises many kinds for a damaged file
            raise _damaged(error, self.file) from error
        for index, array in zip(indices, arrays, strict=True):
            refuse_infinite(array, self.names[index], self.file, 0)
        return Loaded(tuple(arrays), lengths.pop())

    def _channel(self, tdms: Any, index: int) -> FloatArray:
        group, name = self._keys[index]
        values = np.asarray(tdms[group][name][:])
        if values.dtype.kind == "M":
            since = values - values[0]
            return np.asarray(since / np.timedelta64(1, "us") * 1e-6, dtype=np.float64)
        if values.dtype.kind not in "fiu":
            raise InputError(
                "a channel of no numbers", "numbers", file=self.file, column=self.names[index]
            )
        return values.astype(np.float64)


def _unit(properties: Any) -> str:
    for key in _UNIT_KEYS:
        value = properties.get(key)
        if isinstance(value, str) and value.strip():
            return value.strip()
    return ""


def _damaged(error: Exception, file: str) -> InputError:
    return InputError(
        f"not readable as TDMS ({type(error).__name__}: {error})", "an undamaged file", file=file
    )
