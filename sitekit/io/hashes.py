"""Checksums of the files that were read."""

import hashlib
from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path


def hash_files(files: Sequence[Path]) -> dict[str, str]:
    """Hash files, with those that a Shapefile keeps beside it.

    Parameters
    ----------
    files : sequence of Path
        Files that were read.

    Returns
    -------
    hashes : dict of str to str
        File name to sha256; a name that stands twice is told with its folder.
    """
    beside = [other for file in files for other in _files_beside(file)]
    unique = list(dict.fromkeys(file.resolve() for file in [*files, *beside]))
    names = [file.name for file in unique]
    hashes = {}
    for file in unique:
        double = names.count(file.name) > 1
        name = f"{file.parent.name}/{file.name}" if double else file.name
        told = file.stat()
        hashes[name] = _hash(file, told.st_size, told.st_mtime_ns)
    return hashes


@lru_cache(maxsize=64)
def _hash(file: Path, size: int, changed: int) -> str:
    """Hash a file; many fields on one elevation read it once."""
    del size, changed  # they tell a file from one that was changed
    with file.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _files_beside(file: Path) -> list[Path]:
    """Find the files that a Shapefile keeps its columns and system in."""
    if file.suffix.casefold() != ".shp":
        return []
    beside = (file.with_suffix(suffix) for suffix in (".dbf", ".shx", ".prj", ".cpg"))
    return [other for other in beside if other.exists()]
