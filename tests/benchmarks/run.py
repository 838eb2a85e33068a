"""Run the benchmarks: ``python tests/benchmarks/run.py [NAME ...]``.

Names are those of the files without ``bench_``; all of them where none is given. Only
ratios within one run count: other work on the machine moves every figure.
"""

import platform
import sys
from datetime import date
from importlib import import_module
from os import cpu_count
from pathlib import Path

from telling import say

FOLDER = Path(__file__).parent


def main(names):
    """Run the benchmarks named."""
    known = sorted(p.stem.removeprefix("bench_") for p in FOLDER.glob("bench_*.py"))
    unknown = set(names) - set(known)
    if unknown:
        message = f"no such benchmark: {', '.join(unknown)}; known: {', '.join(known)}"
        raise SystemExit(message)
    say(f"{date.today()}, {platform.machine()}, {cpu_count()} cores")
    for name in names or known:
        say(f"\n{name}")
        import_module(f"bench_{name}").run()


if __name__ == "__main__":
    main(sys.argv[1:])
