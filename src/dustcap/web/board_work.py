"""What of a board takes long to compute: its service sheet and its leak map, once a text, in the background.

A page looks how far the work is and never waits longer than it says. The threads are daemons: stopping the server
stops them, and what they would have found is computed again the next time.
"""

from __future__ import annotations

import hashlib
import logging
import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, cast

from fastapi import Request

from dustcap.errors import DustcapError
from dustcap.job.board_view import BoardView, leaks_on, sheet_for

log = logging.getLogger("dustcap.web")

MOST = 24
Progress = Callable[[float], None]


@dataclass(frozen=True, slots=True)
class Found:
    """How far a piece of work is: its value when done, the error when it failed, else the share that is done."""

    value: Any = None
    error: DustcapError | None = None
    share: float = 0.0

    @property
    def running(self) -> bool:
        """Whether there is something to wait for."""
        return self.value is None and self.error is None


@dataclass
class _Piece:
    done: threading.Event = field(default_factory=threading.Event)
    share: float = 0.0
    value: Any = None
    error: DustcapError | None = None


class BoardWork:
    """Pieces of work by what they are made of; two at a time."""

    def __init__(self) -> None:
        self._pieces: OrderedDict[str, _Piece] = OrderedDict()
        self._lock = threading.Lock()
        self._at_once = threading.Semaphore(2)

    def sheet(self, view: BoardView, *, wait_s: float = 0.0) -> Found:
        """The service sheet of a board, a `ServiceSheet`."""
        return self.look("sheet", view.board.text, lambda progress: sheet_for(view), wait_s=wait_s)

    def leaks(self, view: BoardView, *, wait_s: float = 0.0) -> Found:
        """The leak map of a board, a `LeakMap`."""
        return self.look("leaks", view.board.text, lambda progress: leaks_on(view, progress), wait_s=wait_s)

    def look(self, what: str, text: str, make: Callable[[Progress], Any], *, wait_s: float = 0.0) -> Found:
        """How far the work on a text is; starts it when it is new, and waits for it up to so many seconds."""
        key = f"{what} {hashlib.sha256(text.encode()).hexdigest()}"
        with self._lock:
            piece = self._pieces.get(key)
            if piece is None:
                piece = self._pieces[key] = _Piece()
                threading.Thread(target=self._work, args=(piece, make), name=what, daemon=True).start()
            self._pieces.move_to_end(key)
            for old in [name for name, each in self._pieces.items() if each.done.is_set()][:-MOST]:
                del self._pieces[old]
        if wait_s > 0:
            piece.done.wait(wait_s)
        return Found(piece.value, piece.error, piece.share)

    def _work(self, piece: _Piece, make: Callable[[Progress], Any]) -> None:
        def tell(share: float) -> None:
            piece.share = share

        try:
            with self._at_once:
                piece.value = make(tell)
        except DustcapError as error:
            piece.error = error
        except Exception:
            log.exception("the work on a board broke")
            piece.error = DustcapError("something broke while computing.", mend="Details are in the log.")
        finally:
            piece.done.set()


def work_of(request: Request) -> BoardWork:
    """The work on boards of this server."""
    state = request.app.state
    if not hasattr(state, "board_work"):
        state.board_work = BoardWork()
    return cast(BoardWork, state.board_work)
