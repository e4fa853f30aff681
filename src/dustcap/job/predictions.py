"""Where a board's predictions are kept, so that the next hunt on it begins at once.

The place is named by what the predictions depend on: the description's text, the program that computes them and its
settings. Only the few used last are kept; all may be deleted at any time.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import shutil
from collections.abc import Callable
from functools import cache
from pathlib import Path

import dustcap
from dustcap.board.model import Board
from dustcap.job.array_folder import ArrayFolder, ArrayMemory
from dustcap.job.cores import on_all_cores
from dustcap.predict.predictor import Predictor

SEED = 27
KEPT = 24  # boards, of about eight megabytes each: a choice of ours
ROOMS = ("circuit", "board", "faults", "predict")


def predictor_for(
    board: Board, root: Path | None, progress: Callable[[float], None], kind: type[Predictor] = Predictor
) -> Predictor:
    """Predictions of a board; kept below `root` when there is one."""
    if root is None:
        return kind(board, seed=SEED, store=ArrayMemory(), progress=progress, spread=on_all_cores)
    folder = root / _name(board)
    _tidy(root, folder.name)
    return kind(board, seed=SEED, store=ArrayFolder(folder), progress=progress, spread=on_all_cores)


def _name(board: Board) -> str:
    digest = hashlib.sha256(f"{dustcap.__version__} {SEED} {_program()} ".encode())
    digest.update(board.text.encode())
    return digest.hexdigest()[:32]


@cache
def _program() -> str:
    """The files that compute predictions, by name and content, so that an update never meets older numbers."""
    root = Path(dustcap.__file__).parent
    digest = hashlib.sha256()
    for path in sorted(path for room in ROOMS for path in (root / room).rglob("*") if path.suffix in (".py", ".toml")):
        content = path.read_bytes()
        digest.update(f"{path.relative_to(root).as_posix()} {len(content)} ".encode() + content)
    return digest.hexdigest()


def _tidy(root: Path, used: str) -> None:
    """Mark this board's folder as used now, and remove those that were not used for longest."""
    with contextlib.suppress(OSError):
        (root / used).mkdir(parents=True, exist_ok=True)
        os.utime(root / used)
        by_age = sorted((path for path in root.iterdir() if path.is_dir()), key=lambda path: -path.stat().st_mtime_ns)
        for path in by_age[KEPT:]:
            shutil.rmtree(path, ignore_errors=True)
