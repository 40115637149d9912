"""How long a command takes to say something, beside a bare interpreter and a bare command-line library.

Ratios, each of the least of several runs in this process's own interleaved order; never a pass or fail.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time

ROUNDS = 7
COMMANDS = {
    "bare interpreter": ["-c", "pass"],
    "interpreter with click": ["-c", "import click"],
    "saltfare --help": ["-m", "saltfare.faces.cli", "--help"],
    "saltfare actions": ["-m", "saltfare.faces.cli", "actions"],
    "saltfare do bench": ["-m", "saltfare.faces.cli", "do", "bench"],
}


def main() -> None:
    """Print each command's time as a multiple of the bare interpreter's."""
    least = dict.fromkeys(COMMANDS, float("inf"))
    with tempfile.TemporaryDirectory() as folder:
        for _ in range(ROUNDS):
            for name, arguments in COMMANDS.items():
                began = time.perf_counter()
                subprocess.run(
                    [sys.executable, *arguments],
                    check=True,
                    capture_output=True,
                    stdin=subprocess.DEVNULL,
                    env={"SALTFARE_DATA": folder, "PATH": "/usr/bin:/bin"},
                )
                least[name] = min(least[name], time.perf_counter() - began)
    bare = least["bare interpreter"]
    for name, took in least.items():
        print(f"{name:26} {took / bare:6.1f} x a bare interpreter  ({1000 * took:.0f} ms here)")


if __name__ == "__main__":
    main()
