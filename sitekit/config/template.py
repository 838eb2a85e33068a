"""The commented site file that a new site starts from."""

from collections.abc import Iterator
from pathlib import Path

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from sitekit.config.models import SiteModel
from sitekit.errors import OutputError

#: Keys that stand without a comment sign: the least that a survey needs.
LEAST = ("name", "elevation", "field")

_HEAD = """\
# What is known about one site. File names are relative to this file; any file may
# be {file = "holding.gpkg", layer = "water"}. Places are [lon, lat]; only corners
# is [lat, lon], as phones show it. Take away the # before a key to use it.
"""


def write_template(path: Path) -> None:
    """Write a commented site file to fill in.

    Parameters
    ----------
    path : Path
        The file to write; its folder is made.

    Raises
    ------
    OutputError
        The file is there already, or cannot be written.
    """
    path = Path(path)
    if path.exists():
        message = f"{path} is there already. Name another folder, or move it away."
        raise OutputError(message)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("\n".join(_lines()) + "\n", encoding="utf-8")
    except OSError as error:
        message = f"{path} cannot be written ({error.strerror}). Name another folder."
        raise OutputError(message) from error


def _lines() -> Iterator[str]:
    yield _HEAD.rstrip()
    for name, field in SiteModel.model_fields.items():
        default = field.get_default(call_default_factory=True)
        yield ""
        if isinstance(default, BaseModel):
            yield f"[{name}]"
            for key, item in type(default).model_fields.items():
                yield from _key(key, item)
        else:
            yield f"[{name}]  # {field.description}"
            yield f"# {_example(field)}"


def _key(name: str, field: FieldInfo) -> Iterator[str]:
    yield f"# {field.description}"
    sign = "" if name in LEAST else "# "
    yield f"{sign}{name} = {_example(field)}"


def _example(field: FieldInfo) -> str:
    return str((field.examples or [""])[0])
