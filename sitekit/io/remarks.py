"""What is said about the inputs: what was read, and what is missing."""

from collections.abc import Collection, Mapping

from sitekit import words
from sitekit.io.schemas import SCHEMAS
from sitekit.io.vectors import VectorSource
from sitekit.site import VECTORS, Remark


def read_inputs(
    field: VectorSource | None,
    field_area: float,
    vectors: Mapping[str, VectorSource],
    counts: Mapping[str, int],
) -> list[Remark]:
    """Say what each vector file gave, one remark a file.

    Parameters
    ----------
    field : VectorSource or None
        File of the field; ``None`` for corners.
    field_area : float
        Area of the field. [m²]
    vectors : mapping of str to VectorSource
        Other files by the name of the input.
    counts : mapping of str to int
        Features taken from each.

    Returns
    -------
    remarks : list of Remark
        Such as ``holding.gpkg: field 9.4 ha, water 1, barriers 2``.
    """
    held = {
        field.file.name if field else "corners": [f"field {words.area(field_area)}"]
    }
    for name, source in vectors.items():
        text = f"{name.replace('_', ' ')} {counts.get(name, 0)}"
        held.setdefault(source.file.name, []).append(text)
    return [Remark("read", file, ", ".join(texts)) for file, texts in held.items()]


#: What sections of the site file would add, for the list of missing inputs.
SECTIONS = {
    "records": "would add last frosts, frost-free days, the heat sum and poor-crop "
    "years in ten",
    "need": "or limits would add a planting plan by years, and the contractor's pack",
}


def missing_inputs(given: Collection[str], *, has_water: bool) -> list[Remark]:
    """Say what each input that is missing would add.

    Parameters
    ----------
    given : collection of str
        Inputs that were given: files, and sections of `SECTIONS`.
    has_water : bool
        Whether water was given or found.

    Returns
    -------
    remarks : list of Remark
        One for each missing input, about its key in the site file.
    """
    adds = {name: SCHEMAS[name].adds for name in VECTORS} | SECTIONS
    return [
        Remark("missing", name, text)
        for name, text in adds.items()
        if name not in given and not (name == "water" and has_water)
    ]
