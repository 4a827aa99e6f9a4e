"""Results that show themselves: short in a listing, full when printed, a table in a notebook."""

from __future__ import annotations


class Shown:
    """Mixin of results. The words come from the report, imported only when something is shown."""

    def __repr__(self) -> str:
        from ratemodel.report.show import summary

        return f"<{type(self).__name__}: {summary(self)}>"

    def __str__(self) -> str:
        from ratemodel.report.show import text

        return text(self)

    def _repr_html_(self) -> str:
        from ratemodel.report.show import html

        return html(self)
