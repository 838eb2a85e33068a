"""The command ``sitekit``: one file a command."""

from sitekit.cli.app import main

__all__ = ["main"]
