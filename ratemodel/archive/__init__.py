"""Years of tests at one speed: products that share the distribution of their rate effect."""

from ratemodel.archive.fit import Archive, ArchiveSettings, fit_archive
from ratemodel.archive.leave import LeftOut, Score, leave_one_out
from ratemodel.archive.table import ArchiveRow, archive_table

__all__ = [
    "Archive",
    "ArchiveRow",
    "ArchiveSettings",
    "LeftOut",
    "Score",
    "archive_table",
    "fit_archive",
    "leave_one_out",
]
