"""Malformed campaigns: each gives one line that names file, row or key, fault and remedy."""

from __future__ import annotations

import pytest

T, B = "campaign.toml", "breaks.csv"
ROW1 = "A1,cord,S1,frame,20,500,11.9,yes,0.5,3,21.5,0,,a1.csv,first"

# name: (file, replaced, by, row, column, fragments of the line)
CASES = {
    # break table: header
    "no specimen column": (B, "specimen,", "probe,", 1, "specimen", "specimen is missing"),
    "no series column": (B, ",series", ",product", 1, "series", "series is missing"),
    "force without unit": (B, "force_kN", "force", 1, "peak_force", "no unit|kN, daN"),
    "unit in small letters": (B, "_kN", "_kn", 1, "peak_force_kn", "'kn' is not a unit|kN"),
    "force in metres": (B, "force_kN", "force_m", 1, "peak_force_m", "'m' is not a unit"),
    "speed without unit": (B, "speed_mm_per_min", "speed", 1, "speed", "no unit|mm_per_min"),
    "speed in mm": (B, "speed_mm_per_min", "speed_mm", 1, "speed_mm", "'mm' is not a unit"),
    "length without unit": (B, "free_length_mm", "free_length", 1, "free_length", "no unit"),
    "preload without unit": (B, "preload_fraction", "preload", 1, "preload", "fraction"),
    "no temperature unit": (B, "temperature_C", "temperature", 1, "temperature", "C, F"),
    "unit in brackets": (B, "_kN", " (kN)", 1, "peak_force (kN)", "is not a unit"),
    "capital letters": (B, "broke", "Broke", 1, "Broke", "no known column; expected broke"),
    "nearly excluded": (B, "excluded", "exclude", 1, "exclude", "expected excluded"),
    "column twice": (B, "batch", "machine", 1, "machine", "machine stands twice"),
    "extra column twice": (B, "log,note", "x,x", 1, "x", "x stands twice"),
    "two units": (
        B, "temperature_C,strands_intact", "temperature_C,temperature_K", 1, "temperature_K",
        "temperature is given in two columns",
    ),
    "two strengths": (
        B, "strands_intact", "strength_MPa", 1, "strength_MPa", "two strength columns",
    ),
    "strength in kN": (B, "peak_force_kN", "strength_kN", 1, "strength_kN", "MPa, GPa"),
    "no strength": (B, "peak_force_kN", "reading", 1, "peak_force_kN", "no strength column"),
    "unnamed column": (B, "excluded,log,note", "excluded,log,", 1, None, "15 has no usable name"),
    # break table: cells
    "force empty": (B, "500,11.9", "500,", 2, "peak_force_kN", "strength is missing"),
    "force text": (B, "11.9", "strong", 2, "peak_force_kN", "'strong' is not a number"),
    "force negative": (B, "11.9", "-11.9", 2, "peak_force_kN", "-11.9 is out of range|above 0 kN"),
    "force zero": (B, "11.9", "0", 2, "peak_force_kN", "0 is out of range"),
    "force inf": (B, "11.9", "inf", 2, "peak_force_kN", "'inf' is not a number"),
    "force overflow": (B, "11.9", "1e400", 2, "peak_force_kN", "1e400 is too large"),
    "force absurd": (B, "11.9", "1e200", 2, "peak_force_kN", "1e200 is beyond any real value"),
    "huge integer": (B, "11.9", "9" * 400, 2, "peak_force_kN", "is not a number"),
    "underscore": (B, "11.9", "1_1", 2, "peak_force_kN", "'1_1' is not a number"),
    "wide digits": (B, "11.9", "１１", 2, "peak_force_kN", "is not a number"),
    "unit in the cell": (B, "11.9", "11.9 kN", 2, "peak_force_kN", "is not a number"),
    "formula": (B, "11.9", "=11+1", 2, "peak_force_kN", "'=11+1' is not a number"),
    "hexadecimal": (B, "11.9", "0x1F", 2, "peak_force_kN", "is not a number"),
    "decimal comma": (B, "11.9", '"11,9"', 2, "peak_force_kN", "decimal comma|decimal point"),
    "bare decimal comma": (B, "11.9", "11,9", 2, None, "16 fields where the header has 15"),
    "typographic minus": (B, "21.5,0", "−5,0", 2, "temperature_C", "typographic minus"),
    "units row": (B, ROW1, ",,,,mm/min,mm,kN,,,,,,,,", 2, "series", "series is missing"),
    "length zero": (B, "20,500,11.9", "20,0,11.9", 2, "free_length_mm", "above 0 mm"),
    "length negative": (B, "500,11.9", "-500,11.9", 2, "free_length_mm", "out of range"),
    "speed zero": (B, "frame,20,500,11.9", "frame,0,500,11.9", 2, "speed_mm_per_min", "above 0"),
    "speed missing": (
        B, "frame,20,500,11.9", "frame,,500,11.9", 2, "speed_mm_per_min",
        "no rate of loading; it has only free_length; expected strain_rate",
    ),
    "length missing": (B, "20,500,11.9", "20,,11.9", 2, "speed_mm_per_min", "only speed"),
    "rates disagree": (
        B, "preload_cycles", "strain_rate_per_s", 2, "speed_mm_per_min",
        "disagree: 0.0006667 and 3 per s|within 5 %",
    ),
    "below absolute zero": (B, "21.5,0", "-300,0", 2, "temperature_C", "above -273.15 C|from"),
    "preload in percent": (B, "yes,0.5", "yes,50", 2, "preload_fraction", "from 0 to 1.5"),
    "preload negative": (B, "yes,0.5", "yes,-0.1", 2, "preload_fraction", "out of range"),
    "cycles negative": (B, "0.5,3", "0.5,-3", 2, "preload_cycles", "from 0 to"),
    "broke maybe": (B, "10.8,no", "10.8,perhaps", 4, "broke", "neither yes nor no"),
    "excluded no": (B, "1,,,\n", "1,no,,\n", 3, "excluded", "'no' is no reason"),
    "specimen twice": (B, "A3", "A1", 4, "specimen", "A1 stands twice"),
    "specimen unnamed": (B, "A3,", ",", 4, "specimen", "no name"),
    "series unknown": (B, "A3,cord", "A3,cords", 4, "series", "no [series.cords]|expected cord"),
    "series empty": (B, "A3,cord", "A3,", 4, "series", "series is missing"),
    "short row": (B, ",,,\nA3", ",,\nA3", 3, None, "14 fields where the header has 15"),
    "long row": (B, ",,,\nA3", ",,,,\nA3", 3, None, "16 fields"),
    "open quote": (B, "A3", '"A3', 4, None, "broken quoting"),
    "quote inside": (B, "stopped", '"stop"ped', 4, None, "broken quoting"),
    "log upwards": (B, "a1.csv", "../a1.csv", 2, "log", "may leave the folder|logs/"),
    "log absolute": (B, "a1.csv", "/etc/passwd", 2, "log", "absolute path"),
    "log backslash": (B, "a1.csv", "..\\a1.csv", 2, "log", "backslash"),
    "log drive": (B, "a1.csv", "C:a1.csv", 2, "log", "absolute path"),
    "log dot": (B, "a1.csv", "./a1.csv", 2, "log", "may leave"),
    "log absent": (B, "a1.csv", "a2.csv", 2, "log", "no such file in logs/"),
    "log a folder": (B, "a1.csv", "a1.csv/", 2, "log", "may leave"),
    "NUL": (B, "stopped", "stop\0ped", 4, None, "NUL"),
    # campaign.toml: the top
    "no name": (T, 'name = "spring tests"', "", None, "name", "no name"),
    "name empty": (T, '"spring tests"', '" "', None, "name", "empty"),
    "name a number": (T, '"spring tests"', "7", None, "name", "7 is not a short text"),
    "unknown table": (T, "[plan]", "[plans]", None, "plans", "'plans' is not a known key|plan"),
    "no TOML": (T, "material =", "material :", 3, None, "no valid TOML"),
    "key twice": (T, 'material = "HMPE"', 'material = "a"\nmaterial = "b"', 4, None, "TOML"),
    "series no table": (T, "[plan]", '[series]\nx = 3\n[plan]', None, "series.x", "not a table"),
    "date in plan": (T, "specimens = 12", "x = 2024-01-01", None, "plan.x", "not a number"),
    "nan in plan": (T, "specimens = 12", "x = nan", None, "plan.x", "not a finite number"),
    "nested deep": (T, "specimens = 12", "x = " + "[" * 12 + "]" * 12, None, "plan.x", "deeply"),
    "nested absurd": (T, "specimens = 12", "x = " + "[" * 5000 + "]" * 5000, None, None, "deeply"),
    "dotted absurd": (T, "specimens = 12", "x." * 40 + "y = 1", 20, None, "more than 32 parts"),
    # series, rating, machine
    "misspelt key": (T, "material", "materail", None, "series.cord.materail", "expected material"),
    "no diameter unit": (T, "diameter_mm", "diameter", None, "series.cord.diameter", "mm, cm"),
    "diameter in kN": (T, "diameter_mm", "diameter_kN", None, "series.cord.diameter_kN", "a unit"),
    "diameter zero": (T, "= 3.0", "= 0", None, "series.cord.diameter_mm", "above 0 mm"),
    "diameter twice": (
        T, "diameter_mm = 3.0", "diameter_mm = 3.0\ndiameter_in = 0.1", None,
        "series.cord.diameter_in", "diameter is given twice",
    ),
    "diameter yes": (T, "= 3.0", "= true", None, "series.cord.diameter_mm", "True is not a number"),
    "material number": (T, '"HMPE"', "3", None, "series.cord.material", "not a short text"),
    "batch sd": (T, "= 0.02", "= 2", None, "series.cord.batch_sd_fraction", "from 0 to 1"),
    "scatter": (
        T, "= 0.02", '= 0.02\nscatter = "norml"', None, "series.cord.scatter", "perhaps normal",
    ),
    "rating no value": (T, "value_kN = 11.8", "", None, "series.cord.rating.value", "no value"),
    "rating no unit": (T, "value_kN", "value", None, "series.cord.rating.value", "has no unit"),
    "rating misspelt": (
        T, "statistic", "statistc", None, "series.cord.rating.statistc", "expected statistic",
    ),
    "rating statistic": (
        T, '"average"', '"minimum"', None, "series.cord.rating.statistic", "mean-2sd|lowest",
    ),
    "rating negative": (T, "11.8", "-11.8", None, "series.cord.rating.value_kN", "out of range"),
    "rating other kind": (
        T, "value_kN", "value_MPa", None, "series.cord.rating.value_MPa",
        "rating is a stress, the specimens' strength a force",
    ),
    "rating no length": (
        T, "free_length_mm = 500\n", "", None, "series.cord.rating.speed_mm_per_min",
        "speed without free_length",
    ),
    "rating no cycles": (
        T, "preload_cycles = 10\n", "", None, "series.cord.rating.preload_fraction",
        "preload without preload_cycles",
    ),
    "rating rates disagree": (
        T, "preload_cycles = 10", "preload_cycles = 10\nstrain_rate_per_s = 1", None,
        "series.cord.rating.strain_rate_per_s", "disagree",
    ),
    "machine unknown key": (
        T, "setup_min", "colour", None, "machine.frame.colour", "not a known key",
    ),
    "machine speed": (
        T, "speed_min_mm_per_min = 0.5", "speed_min_mm_per_min = 999", None,
        "machine.frame.speed_min_mm_per_min", "speed_min is above speed_max",
    ),
    "machine calibration": (
        T, "sd_fraction = 0.01", "sd_fraction = -0.01", None,
        "machine.frame.calibration_sd_fraction", "out of range",
    ),
    # use
    "use no series": (T, 'series = "cord"', "", None, "use.drop.series", "series is missing"),
    "use other series": (T, '= "cord"', '= "chord"', None, "use.drop.series", "expected cord"),
    "use no kind": (T, 'kind = "fall"', "", None, "use.drop.kind", "one of fall, snatch"),
    "use odd kind": (T, '"fall"', '"falls"', None, "use.drop.kind", "perhaps fall"),
    "use misspelt": (T, "mass_kg", "maas_kg", None, "use.drop.maas_kg", "expected mass_kg"),
    "use no mass": (T, "mass_kg = { mean = 80, sd = 8 }", "", None, "use.drop.mass", "needs mass"),
    "use no stiffness": (
        T, "stiffness_kN = { median = 60, factor = 1.1 }", "", None, "use.drop.stiffness", "needs",
    ),
    "mass no unit": (T, "mass_kg", "mass", None, "use.drop.mass", "kg, lb"),
    "mass negative": (T, "{ mean = 80, sd = 8 }", "-80", None, "use.drop.mass_kg", "above 0 kg"),
    "mass text": (T, "{ mean = 80, sd = 8 }", '"80"', None, "use.drop.mass_kg", "not a number"),
    "mass inf": (T, "{ mean = 80, sd = 8 }", "inf", None, "use.drop.mass_kg", "finite"),
    "mass huge": (T, "{ mean = 80, sd = 8 }", "9" * 400, None, "use.drop.mass_kg", "huge integer"),
    "mass list": (T, "{ mean = 80, sd = 8 }", "[80]", None, "use.drop.mass_kg", "a list is not"),
    "sd negative": (T, "sd = 8 }", "sd = -8 }", None, "use.drop.mass_kg.sd", "negative"),
    "sd too wide": (T, "sd = 8 }", "sd = 30 }", None, "use.drop.mass_kg.sd", "{median, factor}"),
    "sd missing": (T, ", sd = 8 }", " }", None, "use.drop.mass_kg", "mean is no distribution"),
    "mixed": (T, "sd = 8 }", "high = 8 }", None, "use.drop.mass_kg", "no distribution"),
    "sd misspelt": (T, "sd = 8 }", "sdd = 8 }", None, "use.drop.mass_kg.sdd", "expected sd"),
    "low above high": (T, "low = 0.5", "low = 5", None, "use.drop.fall_m.low", "above high"),
    "fall negative": (T, "low = 0.5", "low = -0.5", None, "use.drop.fall_m.low", "at least 0 m"),
    "factor below 1": (T, "= 1.1", "= 0.9", None, "use.drop.stiffness_kN.factor", "from 1 to"),
    "stiffness per metre": (
        T, "stiffness_kN", "stiffness_kN_per_m", None, "use.drop.stiffness_kN_per_m", "a unit",
    ),
    "degrees factor": (
        T, "{ mean = 15, sd = 5 }", "{ median = 15, factor = 1.1 }", None,
        "use.drop.temperature_C.factor", "no meaning in degrees C",
    ),
    "wrong kind": (
        T, "design_factor", "closing_speed_m_per_s = 3\ndesign_factor", None,
        "use.drop.closing_speed_m_per_s", "no meaning for kind fall",
    ),
    "design factor": (T, "= 5\n", "= 0.5\n", None, "use.drop.design_factor", "from 1 to"),
    "probability 1": (T, "1e-4", "1", None, "use.drop.target_failure_probability", "between 0"),
    "probability 0": (T, "1e-4", "0", None, "use.drop.target_failure_probability", "range"),
    "bound": (T, '"95/95"', '"99/99"', None, "use.drop.bound", "95/95, 95/75"),
    "line recorded": (
        T, "design_factor", 'line = "recorded"\ndesign_factor', None, "use.drop.log", "needs a log",
    ),
    "line power": (
        T, "design_factor", 'line = "power"\ndesign_factor', None, "use.drop.exponent", "needs",
    ),
    "use log": (
        T, "design_factor", 'log = "../x"\ndesign_factor', None, "use.drop.log", "may leave",
    ),
    "two dampings": (
        T, "design_factor", "damping_s = 1\ndamping_ratio = 1\ndesign_factor", None,
        "use.drop.damping_ratio", "two ways",
    ),
    "ratio with a unit": (
        T, "design_factor", "damping_ratio_s = 1\ndesign_factor", None,
        "use.drop.damping_ratio_s", "pure number",
    ),
    "factor zero": (T, "wear = 0.95", "wear = 0", None, "use.drop.factors.wear", "above 0|from"),
    "factor percent": (T, "wear = 0.95", "wear = 95", None, "use.drop.factors.wear", "to 10"),
    "factor origin": (
        T, '"published"', '""', None, "use.drop.factors.termination.origin", "origin is empty",
    ),
    "factor without value": (
        T, "mean = 0.90, sd = 0.03, ", "", None, "use.drop.factors.termination", "an empty table",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_malformed_campaign_is_refused_in_one_clear_line(name, spoil):
    target, old, new, row, column, fragments = CASES[name]
    error = spoil(target, old, new)
    text = str(error)
    assert (error.file, error.row, error.column) == (target, row, column)
    assert all(fragment in text for fragment in fragments.split("|")), text
    assert text.startswith(target)
    assert text.isprintable()
    assert len(text) < 900


def test_there_are_at_least_sixty():
    assert len(CASES) >= 60
