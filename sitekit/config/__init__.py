"""The site file: its sections and keys, how it is read, and its template."""

from sitekit.config.models import FileReference, SiteModel
from sitekit.config.reading import SiteFile, read_config
from sitekit.config.template import write_template

__all__ = ["FileReference", "SiteFile", "SiteModel", "read_config", "write_template"]
