"""Every file of the small analysis, rendered once."""

from __future__ import annotations

import pytest

from ratemodel.analysis import Analysis
from ratemodel.report.files import render


@pytest.fixture(scope="session")
def files(small: Analysis) -> dict[str, bytes]:
    return render(small)
