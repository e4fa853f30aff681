"""The hunts of a server, one a job: the predictions are computed once, in the background, and kept ready.

A page only ever looks at how far a hunt is; the work is done in a thread of its own, whose heavy part runs in other
processes. What a hunt said is kept in the record by `job.job_hunt`, so that nothing is lost when the server is killed.
"""

from __future__ import annotations

import logging
import multiprocessing
import threading
from collections import OrderedDict
from dataclasses import dataclass, field

from dustcap.errors import DustcapError
from dustcap.job.desk import Desk, view
from dustcap.job.hunt import HuntAnswer
from dustcap.job.job_hunt import JobHunt
from dustcap.job.replay import ask_at
from dustcap.job.stored_energy import Reservoir, reservoirs

log = logging.getLogger("dustcap.web")

MOST = 4
"""Hunts kept ready; the predictions of the others come from the disk again."""
BROKE, IN_LOG = "something broke in the hunt.", "The details are in the log; what was entered is kept."
COMPUTING, READY, FAILED = "computing", "ready", "failed"


@dataclass(frozen=True, slots=True)
class Standing:
    """How far a hunt is: `share` of the predictions while it computes (0 when not told), its answer once ready."""

    how: str
    share: float = 0.0
    answer: HuntAnswer | None = None
    error: DustcapError | None = None
    reservoirs: tuple[Reservoir, ...] | None = None


@dataclass
class _Kept:
    """One job's hunt; `upto` is the finding that the answer knows."""

    job: int
    hunt: JobHunt | None = None
    upto: int = -1
    share: float = 0.0
    answer: HuntAnswer | None = None
    error: DustcapError | None = None
    failed_at: int = -1
    defect: bool = False
    reservoirs: tuple[Reservoir, ...] | None = None
    running: threading.Thread | None = None
    asking: threading.Lock = field(default_factory=threading.Lock)
    then: dict[int, HuntAnswer | DustcapError] = field(default_factory=dict)  # entries up to a point never change
    going_back: set[int] = field(default_factory=set)


class Hunts:
    """Hunts by job number."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self._kept: OrderedDict[int, _Kept] = OrderedDict()
        self._lock = threading.Lock()

    def look(self, job: int, *, wait_s: float = 0.0) -> Standing:
        """How far the hunt of a job is; starts what is not under way, and waits for it up to so many seconds.

        Raises
        ------
        RecordError
            If there is no such job.
        """
        newest = view(self.desk, job).state.last_finding
        one = self._one(job)
        with self._lock:
            if not _told(one, newest) and one.running is None:
                one.running = threading.Thread(
                    target=self._work, args=(one, newest), name=f"hunt of job {job}", daemon=True
                )
                one.running.start()
            running = one.running
        if running is not None and wait_s > 0:
            running.join(wait_s)
        if one.failed_at == newest and one.error is not None:
            if one.defect:
                one.failed_at = -1  # said once; the next look tries again
            return Standing(FAILED, error=one.error, reservoirs=one.reservoirs)
        if one.answer is not None and one.upto == newest:
            return Standing(READY, 1.0, one.answer, reservoirs=one.reservoirs)
        return Standing(COMPUTING, one.share, one.answer, reservoirs=one.reservoirs)

    def at(self, job: int, upto: int, *, wait_s: float = 0.0) -> HuntAnswer | None:
        """What the hunt of a job says to its entries up to that one; None while that is computed.

        Raises
        ------
        DustcapError
            If it has no answer to them.
        """
        one = self._one(job)
        if one.hunt is None:
            self.look(job)
            return None
        with self._lock:
            begins = upto not in one.then and upto not in one.going_back
            one.going_back.add(upto)
        if begins:
            back = threading.Thread(target=self._go_back, args=(one, one.hunt, upto), daemon=True)
            back.start()
            back.join(wait_s)
        found = one.then.get(upto)
        if isinstance(found, DustcapError):
            raise found
        return found

    def _go_back(self, one: _Kept, hunt: JobHunt, upto: int) -> None:
        try:
            with one.asking:
                one.then[upto] = ask_at(hunt, upto)
        except DustcapError as error:
            one.then[upto] = error
        except Exception:
            log.exception("the hunt of job %s broke at entry %s", one.job, upto)
            one.then[upto] = DustcapError(BROKE, mend=IN_LOG)

    def close(self) -> None:
        """Stop what is still being computed; it begins anew the next time."""
        if any(one.running is not None for one in self._kept.values()):
            for child in multiprocessing.active_children():
                child.terminate()

    def _one(self, job: int) -> _Kept:
        with self._lock:
            one = self._kept.setdefault(job, _Kept(job))
            self._kept.move_to_end(job)
            for old in [number for number, other in self._kept.items() if other.running is None][:-MOST]:
                del self._kept[old]
            return one

    def _work(self, one: _Kept, newest: int) -> None:
        """Bring one hunt up to that finding; every error is kept for its page."""
        try:
            text = view(self.desk, one.job).board_text
            if one.reservoirs is None and text is not None:
                one.reservoirs = reservoirs(text)
            if one.hunt is None:
                one.hunt = JobHunt(self.desk, one.job, lambda share: _tell(one, share))
            with one.asking:
                answer = one.hunt.ask()
            one.answer, one.upto, one.error = answer, newest, None
        except DustcapError as error:
            one.error, one.failed_at, one.defect = error, newest, False
        except Exception:
            log.exception("the hunt of job %s broke", one.job)
            one.error, one.failed_at, one.defect = DustcapError(BROKE, mend=IN_LOG), newest, True
        finally:
            with self._lock:
                one.running = None


def _told(one: _Kept, newest: int) -> bool:
    return newest in (one.upto, one.failed_at)


def _tell(one: _Kept, share: float) -> None:
    one.share = share
