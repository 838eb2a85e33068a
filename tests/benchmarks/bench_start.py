"""How soon the command answers."""

import subprocess
import sys

from telling import quickest, say


def run():
    """Print the time of ``sitekit --help`` and of a bare Python beside it."""

    def call(*arguments):
        return quickest(
            lambda: subprocess.run(
                [sys.executable, *arguments], capture_output=True, check=True
            )
        )

    bare = call("-c", "pass")
    say(f"sitekit --help: {call('-m', 'sitekit', '--help'):.2f} s")
    say(f"python alone: {bare:.2f} s")


if __name__ == "__main__":
    run()
