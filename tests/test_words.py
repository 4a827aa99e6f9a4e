"""Text of numbers and names: rounding never flatters, and nothing read from a file bites."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ratemodel.words import (
    CAUTION,
    CAUTIONS,
    cautions,
    html_escape,
    limit_text,
    mathtext_escape,
    neutralise,
    number_text,
    quantity_text,
    round_down,
    slug,
    slugs,
)

FINITE = st.floats(allow_nan=False, allow_infinity=False)


@given(FINITE, st.integers(1, 8))
def test_shown_limit_never_exceeds_the_limit(value, digits):
    assert round_down(value, digits) <= value
    assert float(limit_text(value, "kN", digits).removesuffix(" kN")) <= value


@given(st.floats(1e-12, 1e12), st.integers(1, 6))
def test_rounding_down_loses_less_than_one_last_digit(value, digits):
    assert value - round_down(value, digits) < value * 10.0 ** (1 - digits) * (1 + 1e-12)
    assert round_down(round_down(value, digits), digits) == round_down(value, digits)


@given(st.lists(st.floats(-1e9, 1e9), min_size=3, max_size=3).map(sorted))
def test_shown_interval_holds_the_interval(ends):
    lo, median, hi = ends
    text = quantity_text(median, lo, hi, "kN")
    if "(" in text:
        shown_lo, shown_hi = text.split("(")[1].rstrip(")").split(" to ")
        assert float(shown_lo) <= lo
        assert float(shown_hi) >= hi
    else:
        assert lo == hi


def test_quantity_reads_as_in_a_report():
    assert quantity_text(11.2, 10.4, 12.1, "kN") == "11.2 kN (10.4 to 12.1)"
    assert quantity_text(0.5, 0.5, 0.5, "") == "0.5"
    assert quantity_text(5.0, math.nan, 6.0, "kN") == "5 kN (interval not known)"
    assert quantity_text(math.nan, 1.0, 2.0, "kN") == "not known"
    assert limit_text(math.inf, "kN") == "not known"
    assert number_text(math.nan) == "not known"
    assert number_text(0.0) == "0"
    assert round_down(0.0) == 0.0


@given(st.text(max_size=30))
def test_no_cell_starts_a_formula(cell):
    safe = neutralise(cell)
    assert safe.endswith(cell)
    assert not safe.lstrip(" ")[:1] or safe.lstrip(" ")[0] not in "=+-@\t\r"
    assert neutralise(safe) == safe


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "  ="])
def test_formula_starts_get_an_apostrophe(start):
    assert neutralise(start + 'HYPERLINK("x")') == "'" + start + 'HYPERLINK("x")'


@given(st.text(max_size=80))
def test_slug_is_a_plain_file_name(name):
    part = slug(name)
    assert part.isascii()
    assert part
    assert len(part) <= 80
    assert set(part) <= set("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789._-")
    assert ".." not in part
    assert part[0] not in ".-_"
    assert part[-1] not in ".-_"


@given(st.sets(st.text(alphabet="aAbB -/.é", max_size=6), max_size=8))
def test_slugs_of_different_names_differ_even_without_case(names):
    parts = slugs(names)
    assert len({part.lower() for part in parts.values()}) == len(names)


@pytest.mark.parametrize("name", ["", "..", "../../etc/passwd", "CON", "nul.txt", "a/b", "a\0b"])
def test_slug_of_a_trick_is_changed(name):
    assert slug(name) != name
    assert "/" not in slug(name)


@given(st.text(max_size=40))
def test_html_escape_leaves_no_markup(text):
    assert not set(html_escape(text)) & set("<>\"'\0")


@settings(deadline=None)
@given(st.text(alphabet="a$\\_^{} 1", max_size=12))
def test_chart_labels_show_what_was_written(text):
    text_module = pytest.importorskip("matplotlib.text")
    label = text_module.Text(0, 0, mathtext_escape(text))
    shown, math_mode = label._preprocess_math(label.get_text())
    assert (shown, math_mode) == (text, False)


def test_cautions_name_the_limits_of_the_result():
    every = " ".join((*cautions(7), CAUTION))
    for words in ("manufacturer's instructions", "local codes", "competent person", "certified"):
        assert words in every
    assert "7 specimens" in cautions(7)[-1]
    assert "1 specimen." in cautions(1)[-1]
    assert cautions(3)[: len(CAUTIONS)] == CAUTIONS
