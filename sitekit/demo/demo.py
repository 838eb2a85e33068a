"""The demo: the invented holding written and surveyed into one folder."""

from collections.abc import Callable
from pathlib import Path

from sitekit.demo.holding import write_holding
from sitekit.pipeline import survey
from sitekit.request import read_site
from sitekit.results import Survey
from sitekit.writing import whole_folder, write_run, write_survey


def write_demo(
    folder: Path, *, on_step: Callable[[str], None] = lambda _: None
) -> Survey:
    """Write the invented holding, and its survey into ``survey`` beside it.

    Parameters
    ----------
    folder : Path
        Folder that is missing, empty, or was made by sitekit.
    on_step : callable
        Called with the name of each step when it begins.

    Returns
    -------
    found : Survey
        The survey.

    Raises
    ------
    OutputError
        Where the folder may not be written.
    """
    with whole_folder(folder, holding=True) as temporary:
        on_step("the holding")
        found = survey(read_site(write_holding(temporary)), on_step=on_step)
        write_survey(found, temporary / "survey", on_step=on_step)
        write_run(temporary, {"site": found.site.name, "invented": True})
    return found
