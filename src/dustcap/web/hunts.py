"""The hunts of a server, one a job: the predictions are computed once in the background and kept ready."""

from __future__ import annotations

from dustcap.job.desk import Desk


class Hunts:
    """Hunts by job number."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk

    def close(self) -> None:
        """Wait for nothing more."""
