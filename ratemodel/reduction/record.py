"""What a log is reduced to, and what a user may state about machine and specimen."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import PurePath
from typing import Literal, TypeAlias

from ratemodel.errors import InputError, Problem
from ratemodel.records.logfile.log import LogMapping
from ratemodel.units import split_name, units_of

Ending: TypeAlias = Literal["broke", "stopped", "unloaded", "unclear"]


@dataclass(frozen=True)
class Cycle:
    """One preload cycle.

    ``residual_m``: position at the lowest force of the cycle, less the position at that force on
    the first loading (at half a per cent of the peak where it runs down to no force).
    ``stiffness_N_per_m``: slope of force over position from 50 % to 100 % of the level on
    loading. ``hysteresis_J``: work done less work given back from one lowest point to the next.
    """

    level_N: float
    start_s: float
    end_s: float
    residual_m: float
    stiffness_N_per_m: float
    hysteresis_J: float


@dataclass(frozen=True)
class Hold:
    """A stretch at constant force or constant position.

    ``creep_m_per_s`` is the speed of elongation over its second half, ``creep_rate_per_s`` the
    same per free length.
    """

    level_N: float
    start_s: float
    duration_s: float
    creep_m_per_s: float
    creep_rate_per_s: float


@dataclass(frozen=True)
class Drop:
    """A sudden loss of force: a strand broke, or a termination slipped."""

    time_s: float
    force_before_N: float
    drop_N: float
    before_peak: bool


@dataclass(frozen=True)
class BreakRecord:
    """One specimen as its log tells it. NaN is "the log can not know"; a finding says why.

    Attributes
    ----------
    peak_force_N : float
        Highest force recorded.
    peak_low_by_at_most_N, peak_high_by_at_most_N : float
        By how much the breaking strength may lie above and below it: sample interval times slope,
        lag of the filter, noise, offset. Infinite where the load cell was saturated.
    ended : {"broke", "stopped", "unloaded", "unclear"}
    censored : bool
        The specimen held at least the peak: it did not break, or the peak was cut off.
    time_to_peak_s : float
        From lift-off of the final pull to the peak.
    slack_end_s, slack_m : float
        Where force first lifts off its resting level; position travelled until then.
    bedding_in_end_s, bedding_in_end_N : float
        From here on the final pull stays within 2 % of the peak of its straight line.
    strain_rate_per_s, speed_m_per_s, force_rate_N_per_s, stiffness_N_per_m, stiffness_N : float
        Slopes between 50 % and 100 % of the peak; ``stiffness_N`` is EA, force per unit strain.
    elongation_m, strain_at_break, energy_J : float
        From lift-off (first pull) to the peak; energy of the final pull.
    noise_N : float
        Standard deviation of the force samples about a smooth curve.
    corrections : tuple of str
        What was done to the numbers beyond reading them.
    """

    name: str
    sha256: str
    peak_force_N: float
    peak_low_by_at_most_N: float
    peak_high_by_at_most_N: float
    peak_time_s: float
    ended: Ending
    censored: bool
    time_to_peak_s: float
    slack_end_s: float
    slack_m: float
    bedding_in_end_s: float
    bedding_in_end_N: float
    window_s: tuple[float, float]
    strain_rate_per_s: float
    speed_m_per_s: float
    force_rate_N_per_s: float
    stiffness_N_per_m: float
    stiffness_N: float
    elongation_m: float
    strain_at_break: float
    energy_J: float
    noise_N: float
    free_length_m: float
    cycles: tuple[Cycle, ...] = ()
    holds: tuple[Hold, ...] = ()
    drops: tuple[Drop, ...] = ()
    corrections: tuple[str, ...] = ()
    findings: tuple[Problem, ...] = ()

    @property
    def preload_level_N(self) -> float:
        """Mean level of the preload cycles; NaN without cycles."""
        if not self.cycles:
            return float("nan")
        return sum(c.level_N for c in self.cycles) / len(self.cycles)


_SETTING_KEYS = {
    "free_length": "length",
    "machine_stiffness": "stiffness",
    "filter_lag": "time",
    "load_cell_range": "force",
    "rating": "force",
}
_FRACTION_KEYS = ("cycle_threshold_fraction",)


@dataclass(frozen=True)
class ReductionSettings:
    """What the log itself does not say.

    Attributes
    ----------
    mapping : LogMapping
        How to read the files.
    free_length_m : float or None
        Free length between terminations; ``free_lengths_m`` gives it per file (name with or
        without its ending) and wins.
    machine_stiffness_N_per_m : float or None
        Stiffness of frame, grips and terminations in series with the specimen; its stretch is
        taken off the position.
    filter_lag_s : float or None
        Time constant of the force filter.
    load_cell_range_N : float or None
        Full range; readings from 99 % of it up count as saturated.
    rating_N : float or None
        Rating that preload fractions refer to.
    cycle_threshold_fraction : float
        Smallest rise and fall of force, as a fraction of the peak, that counts as a cycle.
    labels : mapping
        Text columns written beside each record, such as series, batch, machine.
    """

    mapping: LogMapping = field(default_factory=LogMapping)
    free_length_m: float | None = None
    machine_stiffness_N_per_m: float | None = None
    filter_lag_s: float | None = None
    load_cell_range_N: float | None = None
    rating_N: float | None = None
    cycle_threshold_fraction: float = 0.05
    free_lengths_m: Mapping[str, float] = field(default_factory=dict)
    labels: Mapping[str, str] = field(default_factory=dict)

    @classmethod
    def from_table(
        cls, table: Mapping[str, object], *, file: str = "campaign.toml"
    ) -> ReductionSettings:
        """Build from the ``[logs]`` table of campaign.toml, reading keys included.

        Quantities carry their unit: ``free_length_mm``, ``machine_stiffness_kN_per_mm``,
        ``filter_lag_ms``, ``load_cell_range_kN``, ``rating_kN``; ``cycle_threshold_fraction`` is
        bare; ``labels`` is a table of text.
        """
        given: dict[str, object] = {}
        mine: set[str] = set()
        for key, value in table.items():
            stem, unit = split_name(key)
            if key in _FRACTION_KEYS:
                given[key] = _number(key, value, 1.0, file)
            elif key == "labels":
                given[key] = _labels(value, file)
            elif stem in _SETTING_KEYS:
                dimension = _SETTING_KEYS[stem]
                if unit is None or unit.dimension != dimension:
                    known = ", ".join(f"{stem}_{u}" for u in units_of(dimension))
                    raise InputError(
                        f"{key} has no unit of {dimension}",
                        f"one of {known}",
                        file=file,
                        column=f"logs.{key}",
                    )
                given[_field_name(stem)] = _number(key, value, unit.factor, file)
            else:
                continue
            mine.add(key)
        mapping = LogMapping.from_table(table, file=file, ignore=frozenset(mine))
        return cls(mapping=mapping, **given)  # type: ignore[arg-type]

    def for_file(self, name: str) -> ReductionSettings:
        """Return the settings with the free length of one file put in."""
        for key in (name, PurePath(name).name, PurePath(name).stem):
            if key in self.free_lengths_m:
                return replace(self, free_length_m=self.free_lengths_m[key])
        return self

    def check(self) -> None:
        """Raise InputError where a number can not be."""
        for name in ("free_length_m", "machine_stiffness_N_per_m", "load_cell_range_N", "rating_N"):
            value = getattr(self, name)
            if value is not None and not 0 < value < float("inf"):
                raise InputError(f"{name} is {value}", "a number above 0", column=name)
        if self.filter_lag_s is not None and not 0 <= self.filter_lag_s < float("inf"):
            raise InputError(
                f"filter_lag_s is {self.filter_lag_s}", "a time from 0 up", column="filter_lag_s"
            )
        if not 0 < self.cycle_threshold_fraction < 1:
            raise InputError(
                f"cycle_threshold_fraction is {self.cycle_threshold_fraction}",
                "a fraction between 0 and 1",
                column="cycle_threshold_fraction",
            )


def _field_name(stem: str) -> str:
    suffix = {"length": "m", "stiffness": "N_per_m", "time": "s", "force": "N"}
    return f"{stem}_{suffix[_SETTING_KEYS[stem]]}"


def _number(key: str, value: object, factor: float, file: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise InputError(f"{key} is {value!r}", "a number", file=file, column=f"logs.{key}")
    return float(value) * factor


def _labels(value: object, file: str) -> dict[str, str]:
    if not isinstance(value, Mapping) or not all(isinstance(v, str) for v in value.values()):
        raise InputError(
            f"labels is {value!r}",
            'a table of text such as { machine = "frame" }',
            file=file,
            column="logs.labels",
        )
    return {str(k): str(v) for k, v in value.items()}
