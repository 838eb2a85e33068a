"""Many fields on one elevation: surveyed in batches, ranked in one table."""

from sitekit.region.files import write_region
from sitekit.region.run import Region, RegionRequest, survey_region

__all__ = ["Region", "RegionRequest", "survey_region", "write_region"]
