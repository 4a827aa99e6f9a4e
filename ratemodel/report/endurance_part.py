"""Sections on preload cycling and creep of one series."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from ratemodel.analysis import SeriesResult
from ratemodel.endurance import CreepResult, CycledReading, PreloadResult, StrainForecast
from ratemodel.endurance.preload import never_cycled
from ratemodel.errors import Problem
from ratemodel.models.preload import Protocol
from ratemodel.report.blocks import Block, Heading, Picture, Table, Text
from ratemodel.report.parts import problems_block
from ratemodel.shown import Quantity, change_text, time_text, unit_text
from ratemodel.units import Units
from ratemodel.words import CAUTION, limit_text, number_text, quantity_text, round_down

_READ = {
    "residual_elongation": "residual elongation",
    "stiffness_N": "stiffness (force per unit strain)",
    "hysteresis_J": "energy lost in the cycle",
}
_REACHED = {True: "level", False: "still falling", None: "not read"}


def endurance_blocks(
    result: SeriesResult, pictures: Mapping[str, Picture], units: Units | None = None
) -> tuple[Block, ...]:
    """Both sections of a series; nothing where it has no such tests."""
    name, units = result.fit.series.name, units or Units()
    out: list[Block] = []
    if result.preload is not None:
        out += _preload(result.preload, name, pictures, units)
    if result.creep is not None:
        out += _creep(result.creep, name, pictures, units)
    return tuple(out)


def preload_sentence(result: PreloadResult, name: str) -> str:
    """What preload cycling does to the strength of a series."""
    if result.fit is None:
        return f"What preload cycling does to the strength of {name} is not known from these tests."
    odds = _percent(result.fit.odds["no-effect"])
    shown = result.rated or (result.effects[-1] if result.effects else None)
    if shown is None:
        return f"{name}: {result.fit.words}"
    label = ", the protocol of the label," if result.rated is not None else ""
    return (
        f"{_cycles(shown.protocol)}{label} change the strength of {name} by "
        f"{change_text(shown.ratio)} against no preload; the odds that cycling does nothing are "
        f"{odds}."
    )


def creep_sentence(result: CreepResult, name: str, units: Units | None = None) -> str:
    """How far a series creeps, under the load of each steady use or at a tested load."""
    if result.average is None:
        return f"How far {name} creeps is not known from these tests."
    return " ".join(_strained(f, name, units or Units()) for f in result.forecasts)


def _strained(one: StrainForecast, name: str, units: Units) -> str:
    f = one.forecast
    load, time = _load(f.load_N, units), time_text(float(f.time_s[-1]))
    if one.use:
        text = (
            f"Under the load of use {one.use}, {load} for {time}, the strain of {name} comes to "
            f"{_strain(one.strain)}"
        )
    else:
        text = f"At {load}{_at(f.temperature_K)} the strain of {name} comes to "
        text += f"{_strain(one.strain)} after {time}"
    beyond = float(f.decades_beyond[-1])
    if beyond >= 0.05:
        text += f", {beyond:.1f} decades of time beyond the last reading"
    if _outside(one):
        text += ", for a load outside the tested ones"
    if one.by_load:
        (low, least), (high, most) = one.by_load[0], one.by_load[-1]
        text += (
            f"; over the spread of that load, {number_text(units.force.from_si(low))} to "
            f"{_load(high, units)}, it runs from {number_text(100 * least.low)} to "
            f"{number_text(100 * most.high)} %"
        )
    return text + "."


def _preload(
    result: PreloadResult, name: str, pictures: Mapping[str, Picture], units: Units
) -> list[Block]:
    out: list[Block] = [
        Heading(f"{name}: preload cycling"),
        Text(preload_sentence(result, name), "lead"),
    ]
    never = never_cycled(result)
    if never is not None:
        out.append(
            Text(f"Against a line after the label's cycles one that was never cycled differs in "
                 f"strength by {change_text(never)}. The step from the label to a use counts "
                 "cycling from the break table and prior knowledge, not from here.")
        )  # fmt: skip
    if result.fit is not None:
        specimens = result.fit.data.strength_N.size
        out.append(Text(f"{result.fit.words} From {specimens} specimens of {result.source}."))
    if result.effects:
        out.append(_effects_table(result, name))
    out += _pictures(pictures, f"preload/{name}")
    if result.readings:
        out.append(_readings_table(result.readings, name, units))
    return [*out, *_found(result.problems), Text(CAUTION, "caution")]


def _effects_table(result: PreloadResult, name: str) -> Table:
    rows = [
        (_cycles(e.protocol), str(e.specimens), change_text(e.ratio)) for e in result.effects
    ]  # fmt: skip
    rated = result.rated
    if rated is not None and not rated.specimens:
        rows.append((f"{_cycles(rated.protocol)} (label)", "0", change_text(rated.ratio)))
    header = ("preload", "specimens", "change of strength")
    return Table(f"Strength of {name} after preload cycling, against none", header, tuple(rows),
                 (1, 2))  # fmt: skip


def _readings_table(readings: Sequence[CycledReading], name: str, units: Units) -> Table:
    rows = []
    for r in readings:
        ratio = "not known"
        if np.isfinite([r.ratio.median, r.ratio.low, r.ratio.high]).all():
            ratio = r.ratio.text("times")
        rows.append((
            _READ[r.fit.quantity], f"{100 * r.fit.preload_fraction:.0f} %",
            f"{r.cycles[0]:g} to {r.cycles[1]:g}", _value(r.fit.quantity, r.first, units),
            _value(r.fit.quantity, r.last, units), ratio,
        ))  # fmt: skip
    header = ("read", "cycled to", "cycles", "at the first", "at the last", "last over first")
    return Table(f"What changes from cycle to cycle in {name}", header, tuple(rows),
                 (1, 2, 3, 4, 5))  # fmt: skip


def _value(quantity: str, value: float, units: Units) -> str:
    if quantity == "residual_elongation":
        return f"{number_text(100 * value)} %"
    if quantity == "stiffness_N":
        return _load(value, units)
    return f"{number_text(value)} J"


def _creep(
    result: CreepResult, name: str, pictures: Mapping[str, Picture], units: Units
) -> list[Block]:
    out: list[Block] = [
        Heading(f"{name}: creep"),
        Text(creep_sentence(result, name, units), "lead"),
    ]
    if result.average is not None:
        out.append(Text(_models_sentence(result)))
        out.append(_strain_table(result, name, units))
        for one in result.forecasts:
            out += _pictures(pictures, f"strain/{one.use}" if one.use else f"creep/{name}")
        out.append(_rates_table(result, name, units))
    out += _pictures(pictures, f"creep-rate/{name}")
    return [*out, *_found(result.problems), Text(CAUTION, "caution")]


def _models_sentence(result: CreepResult) -> str:
    assert result.average is not None
    shares = zip(result.average.members, result.average.weights(), strict=True)
    ranked = sorted(shares, key=lambda pair: -pair[1])
    kept = ", ".join(f"{m.model.title} ({_percent(float(w))})" for m, w in ranked)
    text = f"Weights of the creep models within the readings: {kept}."
    if result.left_out:
        text += f" Too far from the readings to count: {'; '.join(result.left_out)}."
    return text


def _strain_table(result: CreepResult, name: str, units: Units) -> Table:
    rows = []
    for one in result.forecasts:
        f = one.forecast
        beyond = float(f.decades_beyond[-1])
        where = "time within" if beyond < 0.05 else f"{beyond:.1f} decades of time beyond"
        where += ", load outside" if _outside(one) else ""
        same = (_temperature(f.temperature_K), time_text(float(f.time_s[-1])))
        rows.append((f"use {one.use}" if one.use else "tested load", _load(f.load_N, units), *same,
                     _strain(one.strain), where))  # fmt: skip
        rows += [("end of its load", _load(load, units), *same, _strain(strain), where)
                 for load, strain in one.by_load]  # fmt: skip
    origins = {one.temperature_origin for one in result.forecasts}
    caption = f"Strain of {name} under load, {100 * result.level:g} % intervals (temperature "
    caption += "; ".join(sorted(origins)) + ")"
    header = ("of", "load", "temperature", "time", "strain", "against the tests")
    return Table(caption, header, tuple(rows), (1, 2, 3, 4))


def _rates_table(result: CreepResult, name: str, units: Units) -> Table:
    rows = tuple(
        (_load(r.load_N, units), _temperature(r.temperature_K), str(r.runs), str(r.broke),
         time_text(r.last_time_s), _rounded(r.rate, 1.0, "/s"), _REACHED[r.reached])
        for r in result.rates
    )  # fmt: skip
    header = ("load", "temperature", "runs", "broke", "last reading", "least rate by the models",
              "rate as read")  # fmt: skip
    return Table(f"Plateau creep rate of {name} per tested condition", header, rows,
                 (0, 1, 2, 3, 4, 5))  # fmt: skip


def _found(problems: Sequence[Problem]) -> tuple[Block, ...]:
    return problems_block(problems) if problems else ()


def _pictures(pictures: Mapping[str, Picture], key: str) -> list[Block]:
    return [pictures[key]] if key in pictures else []


def _cycles(protocol: Protocol) -> str:
    noun = "cycle" if protocol.cycles == 1 else "cycles"
    return f"{protocol.cycles:g} {noun} to {100 * protocol.fraction:.0f} % of the strength"


def _load(newton: float, units: Units) -> str:
    return f"{number_text(units.force.from_si(newton))} {unit_text(units.force)}"


def _strain(strain: Quantity) -> str:
    return _rounded(strain, 100.0, "%")


def _rounded(q: Quantity, factor: float, unit: str) -> str:
    """A quantity to three digits at most, its ends outward: creep promises no more."""
    median, low, high = (factor * x for x in (q.median, q.low, q.high))
    if high - low >= 0.02 * abs(median):
        return quantity_text(median, low, high, unit)
    ends = (limit_text(low, ""), number_text(-round_down(-high, 3)))
    return f"{number_text(median)} {unit} ({ends[0]} to {ends[1]})"


def _outside(one: StrainForecast) -> bool:
    return any(p.code == "load-beyond-data" for p in one.forecast.problems)


def _temperature(kelvin: float) -> str:
    return f"{number_text(kelvin - 273.15)} °C" if np.isfinite(kelvin) else "as tested"


def _at(kelvin: float) -> str:
    return f" and {_temperature(kelvin)}" if np.isfinite(kelvin) else ""


def _percent(share: float) -> str:
    return "less than 1 %" if share < 0.005 else f"{100 * share:.0f} %"
