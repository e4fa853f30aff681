"""Services that more than one folder of tests uses."""

from services.audio import loopback

__all__ = ["loopback"]
