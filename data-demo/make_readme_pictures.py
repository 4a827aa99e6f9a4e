"""The README's pictures from the demonstration campaign: python data-demo/make_readme_pictures.py.

The words beside each picture are its alternative text; the README takes them as they are printed.
"""

from __future__ import annotations

from pathlib import Path

import ratemodel as rm
from ratemodel.charts.saving import alt_of
from ratemodel.what_if import demand_and_strength

CAMPAIGN = Path(__file__).with_name("kite-tether")
PICTURES = Path(__file__).with_name("pictures")
WIDTH = 760


def main() -> None:
    """Draw the pictures and print the lines that show them."""
    PICTURES.mkdir(exist_ok=True)
    analysis = rm.analyse(rm.read_campaign(CAMPAIGN), seed=0)
    use = analysis.uses[0]
    strength = use.strength
    drawn = {
        "strength-against-rate": rm.charts.strength_against_rate(strength.fit, uses=[strength]),
        "steps": rm.charts.steps_chart(use),
        "demand": rm.charts.demand_against_strength(demand_and_strength(strength)),
    }
    for name, axes in drawn.items():
        rm.charts.save_figure(axes, PICTURES / f"{name}.png", px=WIDTH)
        print(f"![{alt_of(axes)}](data-demo/pictures/{name}.png)")


if __name__ == "__main__":
    main()
