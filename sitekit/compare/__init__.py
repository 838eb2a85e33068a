"""One site before and after a change: what a gap, a bank or a new hedge does."""

from sitekit.compare.compare import compare
from sitekit.compare.files import write_comparison_folder

__all__ = ["compare", "write_comparison_folder"]
