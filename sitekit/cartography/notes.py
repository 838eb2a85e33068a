"""What every sheet says about its own use: for setting out, or not."""

from sitekit.results import Survey

NOT_FOR_SETTING_OUT = (
    "Not for setting out: positions are read from the elevation, not measured."
)
USE_THE_PACK = (
    "To set out, use the contractor's pack in handover/, never this sheet: its plans "
    "are to scale, and its list gives every point by tape."
)


def has_pack(survey: Survey) -> bool:
    """Tell whether a contractor's pack is written beside this sheet."""
    return survey.plan is not None and not survey.plan.plants.empty


def tell_use(survey: Survey) -> str:
    """Say in half a line what a sheet is for."""
    if has_pack(survey):
        return "Planning help; to set out, use the pack in handover/."
    return "Planning help, not for setting out."


def list_cautions(survey: Survey) -> list[str]:
    """List the cautions of the answer, and one on setting out.

    Parameters
    ----------
    survey : Survey
        What was found.

    Returns
    -------
    cautions : list of str
        With a pointer to the pack where there is one, else with what the answer
        says about setting out, or that no sheet is for it.
    """
    told = list(survey.answer.cautions)
    about = [caution for caution in told if "setting out" in caution]
    if has_pack(survey):
        return [caution for caution in told if caution not in about] + [USE_THE_PACK]
    return told if about else [*told, NOT_FOR_SETTING_OUT]
