"""Run ``python -m sitekit``."""

from sitekit.cli import main

if __name__ == "__main__":
    main()
