"""What a test needs of the machine and does not find: a failure where everything is checked, elsewhere a skip."""

import os

import pytest


def missing(what):
    """Say it: with `CI` set in the environment the test fails, else it is skipped."""
    if os.environ.get("CI"):
        pytest.fail(f"missing on this machine: {what}", pytrace=False)
    pytest.skip(f"missing on this machine: {what}")
