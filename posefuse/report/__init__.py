"""Reports: results as one self-contained page, as tables for people and as files for programs."""

from posefuse.report.tables import Table, comparison_table

__all__ = ["Table", "comparison_table"]
