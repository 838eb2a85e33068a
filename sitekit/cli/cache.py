"""Where the command keeps what it need not make or fetch again."""

import os
from pathlib import Path


def cache_folder(name: str) -> Path:
    """Find a folder of the user's cache; it need not be there yet.

    Parameters
    ----------
    name : str
        Name of the folder.
    """
    home = os.environ.get("XDG_CACHE_HOME", "~/.cache")
    return Path(home).expanduser() / name
