"""Count where the sources of docs/sources.md are named: in how many lines of the tests, and in how many of the package.

Run: make sources
"""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).parents[1]


def keys() -> list[str]:
    """The keys of the table in docs/sources.md, in its order."""
    page = (ROOT / "docs" / "sources.md").read_text(encoding="utf-8")
    return re.findall(r"^\| `([^`]+)` \|", page, re.M)


def lines(folder: Path) -> list[str]:
    """Every line of every Python file and data file of a folder."""
    files = [path for path in sorted(folder.rglob("*")) if path.suffix in (".py", ".toml", ".csv")]
    return [line for path in files for line in path.read_text(encoding="utf-8").splitlines()]


def main() -> None:
    """Print the table of counts."""
    tests, package = lines(ROOT / "tests"), lines(ROOT / "src")
    print("tests package  source")
    for key in keys():
        named = [sum(key in line for line in place) for place in (tests, package)]
        print(f"{named[0]:5d} {named[1]:7d}  {key}")


if __name__ == "__main__":
    main()
