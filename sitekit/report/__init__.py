"""The printed report and its figures."""

from sitekit.report.document import write_report

__all__ = ["write_report"]
