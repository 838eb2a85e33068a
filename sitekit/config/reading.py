"""Reading of the site file: every mistake at once, each with its line."""

import json
import re
import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from sitekit.config.models import FileReference, SiteModel
from sitekit.errors import ConfigError, nearest
from sitekit.site import VECTORS

Lines = Mapping[tuple[str, str], int]
Named = tuple[str, str, str]

_HEADER = re.compile(r"\s*\[\s*([A-Za-z_][\w.\s-]*?)\s*\]\s*(#.*)?$")
_PART = r"(?:[\w-]+|\"[^\"]*\"|'[^']*')"
_KEY = re.compile(rf"\s*({_PART}(?:\s*\.\s*{_PART})*)\s*=")
_ADDRESS = re.compile(r"^/vsi|^[a-z][a-z0-9+.-]+://", re.I)

#: What is wanted, by the kind of mistake.
_WANTED = {
    "string_type": "text in quotes is wanted",
    "string_too_short": "a name is wanted",
    "float_type": "a number is wanted",
    "float_parsing": "a number is wanted",
    "int_type": "a whole number is wanted",
    "finite_number": "a finite number is wanted",
    "dict_type": "a table is wanted",
    "model_type": "a section is wanted",
}


@dataclass(frozen=True)
class SiteFile:
    """A site file that was read and is right.

    Parameters
    ----------
    path : Path
        The file.
    contents : SiteModel
        Its sections.
    lines : mapping of (section, key) to int
        Line of each key; an empty key stands for the section.
    """

    path: Path
    contents: SiteModel
    lines: Lines

    @property
    def folder(self) -> Path:
        """Folder that paths in the file are relative to."""
        return self.path.parent

    @property
    def elevation(self) -> tuple[Path, ...]:
        """Elevation files."""
        return tuple(self.locate(name) for name in self.contents.site.elevation)

    @property
    def field(self) -> tuple[Path, str | None] | None:
        """File and layer of the field, ``None`` where corners are given."""
        return self._source(self.contents.site.field)

    @property
    def vectors(self) -> dict[str, tuple[Path, str | None]]:
        """File and layer of every other input that is given."""
        sources = {n: self._source(getattr(self.contents.site, n)) for n in VECTORS}
        return {name: source for name, source in sources.items() if source}

    def locate(self, name: str) -> Path:
        """Find a file that the site file names."""
        return self.folder / name

    def line_of(self, section: str, key: str = "") -> int | None:
        """Find the line of a key, else of its section.

        Parameters
        ----------
        section, key : str
            Such as ``settings`` and ``flow_cell``.

        Returns
        -------
        line : int or None
            Counted from 1; ``None`` where it does not stand in the file.
        """
        return _line(self.lines, section, key)

    def where(self, section: str, key: str = "") -> str:
        """Say the place of a key: ``site.toml, line 9``."""
        return _where(self.path, self.lines, section, key)

    def _source(
        self, reference: FileReference | None
    ) -> tuple[Path, str | None] | None:
        if reference is None:
            return None
        return self.locate(reference.file), reference.layer


def read_config(
    path: Path,
    *,
    need_elevation: bool = True,
    check: Callable[[SiteFile], Iterable[tuple[int, str]]] = lambda _: (),
) -> SiteFile:
    """Read a site file.

    Parameters
    ----------
    path : Path
        The file.
    need_elevation : bool
        Whether it must name an elevation that is there; not so before the
        elevation is fetched.
    check : callable
        Finds more mistakes, each with its line: names that only others know.

    Returns
    -------
    site_file : SiteFile
        Its sections, with paths that exist.

    Raises
    ------
    ConfigError
        Every mistake in the file, one sentence each, in the order of its lines.
    """
    path = Path(path)
    text = _read_text(path)
    lines = _find_lines(text)
    mistakes: list[tuple[int, str]] = []
    table = _parse(path, text)
    try:
        contents = SiteModel.model_validate(table)
    except ValidationError as error:
        mistakes = _explain(error, path, lines)
        contents = _rest(table, error)
    mistakes += _absent(table, path, lines, need_elevation=need_elevation)
    mistakes += _missing_files(contents, path, lines, need_elevation=need_elevation)
    file = SiteFile(path, contents, lines)
    mistakes += check(file)
    if mistakes:
        raise ConfigError(*(said for _, said in sorted(mistakes, key=lambda m: m[0])))
    return file


def _read_text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        message = f"{path} is not there. Write one with: sitekit new FOLDER"
    except IsADirectoryError:
        message = f"{path} is a folder. Name the site file in it."
    except UnicodeDecodeError:
        message = f"{path.name} is no text in UTF-8. Save it as UTF-8."
    raise ConfigError(message)


def _parse(path: Path, text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        reason, _, place = str(error).partition(" (at ")
        found = re.search(r"line (\d+)", place)
        line = int(found[1]) if found else len(text.splitlines())
        message = (
            f"{path.name}, line {line}: this cannot be read "
            f"({reason[0].lower()}{reason[1:]}). Write key = value; text stands in "
            "quotes, with / and not \\ between folders, and each key once."
        )
        raise ConfigError(message) from error


def _find_lines(text: str) -> dict[tuple[str, str], int]:
    """Find the line of each section and key by reading down the file."""
    lines: dict[tuple[str, str], int] = {}
    section: list[str] = []
    for number, line in enumerate(text.splitlines(), start=1):
        if header := _HEADER.match(line):
            section = [part.strip() for part in header[1].split(".")]
            place = section
        elif key := _KEY.match(line):
            place = section + _parts(key[1])
        else:
            continue
        lines.setdefault((place[0], ""), number)
        if len(place) > 1:
            lines.setdefault((place[0], place[1]), number)
    return lines


def _parts(key: str) -> list[str]:
    return [part.strip("\"'") for part in re.findall(_PART, key)]


def _line(lines: Lines, section: str, key: str) -> int | None:
    return lines.get((section, key)) or lines.get((section, ""))


def _where(path: Path, lines: Lines, section: str, key: str = "") -> str:
    line = _line(lines, section, key)
    return f"{path.name}, line {line}" if line else path.name


def _explain(error: ValidationError, path: Path, lines: Lines) -> list[tuple[int, str]]:
    """Turn the mistakes that the models found into sentences, one a key."""
    said: dict[tuple[str, str], tuple[int, str]] = {}
    for found in error.errors():
        section, key = _place(found)
        where = _where(path, lines, section, key)
        sentence = f"{where}: {_sentence(found, section, key)}"
        said.setdefault((section, key), (_line(lines, section, key) or 0, sentence))
    return list(said.values())


def _place(found: ErrorDetails) -> tuple[str, str]:
    section, key = [*(str(part) for part in found["loc"]), "", ""][:2]
    return section, key


def _sentence(found: ErrorDetails, section: str, key: str) -> str:
    if found["type"] == "extra_forbidden":
        return _unknown(section, key)
    value = json.dumps(found["input"], default=str, ensure_ascii=False)
    value = value if len(value) <= 60 else f"{value[:57]}..."
    subject = f"{key} in [{section}]" if key else f"[{section}]"
    return f"{subject} is {value}; {_wanted(found)}."


def _wanted(found: ErrorDetails) -> str:
    context = found.get("ctx", {})
    if found["type"] == "value_error":
        return str(context["error"])
    if found["type"] == "literal_error":
        return f"one of {str(context['expected']).replace(chr(39), chr(34))} is wanted"
    if found["type"] == "greater_than":
        return f"a number above {context['gt']:g} is wanted"
    if found["type"] == "greater_than_equal":
        return f"a number not below {context['ge']:g} is wanted"
    return _WANTED.get(found["type"], found["msg"])


def _unknown(section: str, key: str) -> str:
    if not key:
        known = list(SiteModel.model_fields)
        kind, name = "section", f"[{section}]"
        hint = nearest(section, known)
    else:
        known = list(type(getattr(SiteModel(), section)).model_fields)
        kind, name = "key", f'"{key}" in [{section}]'
        hint = nearest(key, known)
    listed = ", ".join(known)
    return f"unknown {kind} {name}.{hint or f' Known: {listed}.'}"


def _rest(table: dict[str, Any], error: ValidationError) -> SiteModel:
    """Read what is right, so that the files it names are looked for as well."""
    kept = {
        name: dict(section) if isinstance(section, dict) else section
        for name, section in table.items()
    }
    for found in error.errors():
        section, key = _place(found)
        if key and isinstance(kept.get(section), dict):
            kept[section].pop(key, None)
        else:
            kept.pop(section, None)
    return SiteModel.model_validate(kept)


def _absent(
    table: Mapping[str, Any], path: Path, lines: Lines, *, need_elevation: bool
) -> Iterator[tuple[int, str]]:
    """Say what every site file must name and this one does not at all."""
    site = table.get("site", {})
    given = set(site) if isinstance(site, dict) else set()
    line = _line(lines, "site", "") or 0
    where = _where(path, lines, "site")
    if need_elevation and "elevation" not in given:
        yield line, f'{where}: [site] names no elevation. Add elevation = "FILE".'
    if not given & {"field", "corners"}:
        yield (
            line,
            f'{where}: [site] names no field. Add field = "FILE", or corners = '
            "[[lat, lon], ...].",
        )


def _named_files(contents: SiteModel, *, need_elevation: bool) -> Iterator[Named]:
    """List the section, key and name of every file that must be there."""
    if need_elevation:
        for name in contents.site.elevation:
            yield "site", "elevation", name
    for key in ("field", *VECTORS):
        reference = getattr(contents.site, key)
        if reference is not None:
            yield "site", key, reference.file
    others: tuple[tuple[str, str, object], ...] = (
        *(("records", "file", name) for name in contents.records.file),
        ("records", "bloom", contents.records.bloom),
        ("fruit", "folder", contents.fruit.folder),
    )
    for section, key, named in others:
        if isinstance(named, str):
            yield section, key, named


def _missing_files(
    contents: SiteModel, path: Path, lines: Lines, *, need_elevation: bool
) -> Iterator[tuple[int, str]]:
    for section, key, name in _named_files(contents, need_elevation=need_elevation):
        line = _line(lines, section, key) or 0
        where = _where(path, lines, section, key)
        if _ADDRESS.search(name):
            yield (
                line,
                f'{where}: {key} in [{section}] is an address, "{name}". Save the '
                "file beside the site file and name it.",
            )
        elif not (path.parent / name).exists():
            siblings = [file.name for file in path.parent.iterdir()]
            yield (
                line,
                f'{where}: {key} in [{section}] names "{name}", which is not there.'
                f"{nearest(name, siblings) or ' Correct the name or the folder.'}",
            )
