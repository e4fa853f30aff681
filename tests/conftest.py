"""Services that more than one folder of tests uses."""

from services.audio import loopback
from services.postgresql import database, postgresql

__all__ = ["database", "loopback", "postgresql"]
