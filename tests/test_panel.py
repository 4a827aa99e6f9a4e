"""The what-if panel without a browser: sliders move the number, the limits and the picture."""

from __future__ import annotations

import builtins
import re

import pytest

from ratemodel.analysis import Analysis
from ratemodel.errors import InputError
from ratemodel.panel import what_if
from ratemodel.units import UNITS
from ratemodel.words import CAUTION, html_escape

ipywidgets = pytest.importorskip("ipywidgets")


@pytest.fixture
def panel(small: Analysis):
    return what_if(small.series[0].fit, small.campaign.use["drop"])


def parts(panel):
    box, number, caution, picture, table = panel.children
    sliders = {re.split(",", s.description)[0]: s for s in box.children}
    return sliders, number, caution, picture, table


def test_sliders_are_those_of_the_use(panel) -> None:
    sliders, number, caution, picture, _ = parts(panel)
    assert list(sliders) == ["mass", "fall", "line length", "stiffness (EA)", "target probability"]
    assert not any(s.continuous_update for s in sliders.values())
    assert isinstance(number, ipywidgets.Label)
    assert isinstance(picture, ipywidgets.Output)
    assert html_escape(CAUTION) in caution.value


def test_a_slider_moves_number_and_limits(panel) -> None:
    sliders, number, _, _, table = parts(panel)
    before = number.value
    assert re.search(r"one line holds [\d.]+ \([\d.]+ to [\d.]+\) times the demand", before)
    sliders["mass"].value *= 1.5
    assert number.value != before
    limits = table.value
    sliders["target probability"].value = 1e-2
    assert table.value != limits
    assert "target failure probability" in table.value
    sliders["mass"].value /= 1.5
    assert number.value == before


def test_units_are_the_readers(small: Analysis) -> None:
    fit, use = small.series[0].fit, small.campaign.use["drop"]
    sliders, number, _, _, table = parts(what_if(fit, use, units="lbf,ft,lb"))
    assert [s.description.split(", ")[-1] for s in sliders.values()][:4] == [
        "lb",
        "ft",
        "ft",
        "lbf",
    ]
    assert sliders["mass"].value == pytest.approx(UNITS["lb"].from_si(100.0))
    plain = parts(what_if(fit, use))
    assert plain[1].value == number.value
    assert "lbf" in table.value


def test_a_picture_is_shown_with_its_words(small: Analysis) -> None:
    import numpy as np

    from ratemodel.panel import what_if_picture
    from ratemodel.what_if import Change, what_if_answer, what_if_basis

    basis = what_if_basis(small.series[0].fit, small.campaign.use["drop"])
    answer = what_if_answer(basis, Change(), rng=np.random.default_rng(1))
    html = what_if_picture(answer)._repr_html_()
    assert html.startswith('<img src="data:image/png;base64,')
    assert 'alt="What if, use drop: demand against strength of single lines.' in html


def test_without_the_extra_it_says_what_to_install(small: Analysis, monkeypatch) -> None:
    plain = builtins.__import__

    def refuse(name: str, *more: object, **named: object) -> object:
        if name == "ipywidgets":
            raise ImportError(name)
        return plain(name, *more, **named)

    monkeypatch.setattr(builtins, "__import__", refuse)
    with pytest.raises(InputError, match=r'ipywidgets.*pip install "ratemodel\[notebooks\]"'):
        what_if(small.series[0].fit, small.campaign.use["drop"])
