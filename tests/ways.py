"""The compiled loops, and numpy in their place."""

from contextlib import ExitStack, contextmanager
from unittest.mock import patch

from dustcap.circuit import eliminated, elimination, updates
from dustcap.compiled import compiled_loops
from dustcap.hunt import entropy, kernel, telling

WAYS = ("compiled", "numpy")


@contextmanager
def way(name):
    """Do it this way; compiled loops that are not installed are an error."""
    rooms = {"circuit": (eliminated, elimination, updates), "hunt": (entropy, kernel, telling)}
    with ExitStack() as stack:
        for room, modules in rooms.items():
            loops = compiled_loops(room) if name == "compiled" else None
            assert loops is not None or name == "numpy", "numba is not installed"
            for module in modules:
                stack.enter_context(patch.object(module, "compiled_loops", lambda _, loops=loops: loops))
        yield
