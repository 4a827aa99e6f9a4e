import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ratemodel.comparing import parse_claim, verdict
from ratemodel.comparing.claims import interval_of, parse_margin
from ratemodel.errors import InputError


@given(st.decimals(0, 99, places=2), st.sampled_from("+-"))
def test_a_claim_reads_as_the_number_it_states(percent, sign):
    claim = parse_claim(f"{sign}{percent}%")
    change = float(percent) / 100 if sign == "+" else -float(percent) / 100
    assert claim.ratio == pytest.approx(1 + change, abs=1e-12)


@pytest.mark.parametrize(
    "text",
    ["20%", "+20", "+-20%", "+20%%", "", "+1e3%", "+ 20%", "twenty", "+20 percent", "+nan%",
     "+２0%", "+20%\n+5%", "+12345%"],
)  # fmt: skip
def test_anything_else_is_refused_with_what_would_be_right(text):
    with pytest.raises(InputError, match=r"can not be read; expected a sign, a number and %"):
        parse_claim(text)


@pytest.mark.parametrize("text", ["-100%", "-150%", "+1001%"])
def test_impossible_claims_are_refused(text):
    with pytest.raises(InputError, match="above -100% and at most"):
        parse_claim(text)


@pytest.mark.parametrize("text", ["0%", "50%", "-5%", "5", "a%"])
def test_impossible_margins_are_refused(text):
    with pytest.raises(InputError, match="a number above 0 and below 50 and %"):
        parse_margin(text)


def test_words_say_which_series_is_judged():
    assert parse_claim("+0%").words("old", "new") == "new is at least as strong as old"
    assert parse_claim("+12.5%").words("old", "new") == "new is at least 12.5 % stronger than old"


@given(st.floats(0, 1))
def test_a_statement_is_never_shown_and_contradicted(p):
    mirrored = {"shown": "contradicted", "contradicted": "shown", "not decided": "not decided"}
    if abs(p - 0.05) > 1e-9 and abs(p - 0.95) > 1e-9:
        assert verdict(1 - p, 0.95) == mirrored[verdict(p, 0.95)]


def test_interval_is_equal_tailed():
    got = interval_of(np.linspace(-1, 1, 2001), 0.5)
    assert (got.low, got.median, got.high) == pytest.approx((-0.5, 0.0, 0.5))
