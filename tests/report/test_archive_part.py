"""A campaign of several products is also read as an archive."""

import numpy as np
import pytest

import ratemodel as rm
from ratemodel.analysis import analyse
from ratemodel.report.archive_part import archive_blocks, archive_json
from ratemodel.report.files import render

QUICK = rm.Settings(draws=1000, points=256)


@pytest.fixture(scope="module")
def shelf(tmp_path_factory):
    """Six invented cords, three of them known at one speed only."""
    folder = tmp_path_factory.mktemp("shelf")
    toml, rows = ['name = "shelf"'], ["specimen,series,machine,strain_rate_per_s,peak_force_kN"]
    rng = np.random.default_rng(4)
    for k in range(6):
        toml += [f"[series.cord{k}]", 'material = "HMPE"', 'construction = "braid"']
        for rate in (0.5,) if k >= 3 else (0.001, 0.5):
            mean = (8 + k) * (1 - 0.03 * np.log10(rate / 0.001))
            force = mean * np.exp(0.02 * rng.standard_normal(4))
            rows += [f"{k}-{rate}-{i},cord{k},rig,{rate},{f:.3f}" for i, f in enumerate(force)]
    (folder / "campaign.toml").write_text("\n".join(toml) + "\n")
    (folder / "breaks.csv").write_text("\n".join(rows) + "\n")
    return analyse(rm.read_campaign(folder), settings=QUICK, seed=2)


def test_one_speed_products_get_the_other_speed_from_the_rest(shelf):
    tree = archive_json(shelf)
    slow = {r["product"]: r for r in tree["rows"] if r["strain_rate_per_s"] == 0.001}
    assert set(slow) == {f"cord{k}" for k in range(6)}
    truth = 13_000.0
    low, high = slow["cord5"]["mean_interval_si"]
    assert low < truth < high
    assert slow["cord5"]["shared"]
    assert not slow["cord0"]["shared"]
    assert tree["leave_one_product_out"]["cells"] == 3


def test_report_shows_table_check_and_caution(shelf):
    page = render(shelf)["report.html"].decode()
    assert "All products together" in page
    assert "lay inside their 90 % interval" in page
    assert len(archive_blocks(shelf)) == 4


def test_two_products_are_no_archive():
    campaign = rm.read_campaign(rm.demo_folder())
    assert len(campaign.series) < 5
    assert analyse(campaign, settings=QUICK).shared is None
