"""The loading curve of a recorded pull, for a use case whose line follows it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np

from ratemodel.errors import InputError
from ratemodel.event import Recorded, loading_curve
from ratemodel.records.logfile.log import MachineLog
from ratemodel.records.logfile.read import read_log
from ratemodel.records.tables import Campaign, Use
from ratemodel.reduction.prepare import prepare
from ratemodel.reduction.record import BreakRecord, ReductionSettings
from ratemodel.reduction.reduce import reduce_log


def recorded_curve(campaign: Campaign, use: Use) -> Recorded | None:
    """Force against strain of the log that a use names; None unless its line is "recorded".

    The final pull of the log is taken, from the end of its last preload cycle: a line in use has
    been loaded before. The free length is that of the specimen which the log belongs to, else
    the one in the table ``[logs]`` of campaign.toml.

    Raises
    ------
    InputError
        The log is not there, has no position, or its free length is not known.
    """
    if use.options.get("line") != "recorded":
        return None
    name = str(use.options["log"])
    table = campaign.options.get("logs", {})
    settings = ReductionSettings.from_table(table if isinstance(table, Mapping) else {})
    length = _free_length(campaign, name)
    if length is not None:
        settings = replace(settings, free_length_m=length)
    log = read_log(Path(campaign.folder) / "logs" / name, settings.mapping)
    return pulled_curve(log, settings)


def pulled_curve(log: MachineLog, settings: ReductionSettings) -> Recorded:
    """Loading curve of the final pull of a machine log.

    Strain is counted from where the straight line through the first point, at the stiffness of the
    upper half of the pull, meets zero force.

    Raises
    ------
    InputError
        No position was recorded or the free length is not known.
    """
    record = reduce_log(log, settings)
    signal = prepare(log, settings)
    if signal.position_m is None or not np.isfinite(record.free_length_m):
        raise InputError(
            "a loading curve needs position and free length",
            "a log with a position, and free_length_mm in its row or in [logs]",
            file=log.name,
        )
    rows = np.flatnonzero(
        (signal.time_s >= _start(record)) & (np.arange(len(log.time_s)) <= signal.peak)
    )
    force = signal.force_N[rows] - signal.rest_N
    moved = signal.position_m[rows] - signal.position_m[rows[0]]
    first = max(float(force[0]), 0.0) / record.stiffness_N
    return loading_curve(moved / record.free_length_m + first, force)


def _start(record: BreakRecord) -> float:
    return record.cycles[-1].end_s if record.cycles else record.slack_end_s


def _free_length(campaign: Campaign, log: str) -> float | None:
    """Free length of the specimen that a log belongs to."""
    for series in campaign.series.values():
        for part in (series.used, series.set_aside):
            for name, length in zip(part.log, part.free_length_m, strict=True):
                if name == log and np.isfinite(length):
                    return float(length)
    return None
