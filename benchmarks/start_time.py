"""How long a person waits: `dustcap --help` against a Python that does nothing, best of five fresh starts each."""

from __future__ import annotations

import subprocess
import sys
import time


def best_s(*arguments: str) -> float:
    """Shortest of five fresh starts, seconds."""
    taken = []
    for _ in range(5):
        start = time.perf_counter()
        subprocess.run([sys.executable, *arguments], check=True, capture_output=True)
        taken.append(time.perf_counter() - start)
    return min(taken)


def main() -> None:
    """Print one line."""
    nothing = best_s("-c", "pass")
    help_text = best_s("-m", "dustcap.cli.main", "--help")
    print(f"dustcap --help: {help_text:.2f} s, {help_text / nothing:.1f} x a Python that does nothing")


if __name__ == "__main__":
    main()
