"""The linear solver with its compiled loops and with numpy alone."""

from contextlib import ExitStack, contextmanager
from unittest.mock import patch

from dustcap.circuit import eliminated, elimination, updates
from dustcap.compiled import compiled_loops

WAYS = ("compiled", "numpy")


@contextmanager
def way(name):
    """Solve this way; compiled loops that are not installed are an error."""
    loops = compiled_loops("circuit") if name == "compiled" else None
    assert loops is not None or name == "numpy", "numba is not installed"
    with ExitStack() as stack:
        for module in (eliminated, elimination, updates):
            stack.enter_context(patch.object(module, "compiled_loops", lambda room: loops))
        yield
