"""Entropy of classes and what an outcome tells about them, in bits.

Shannon's entropy of class masses, and the mutual information of a table of class against outcome. The next check, the
planner of finite tables and model-based diagnosis all count with these two.

References
----------
C. E. Shannon, "A mathematical theory of communication", Bell Syst. Tech. J. 27 (1948) 379: entropy, information.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dustcap.compiled import compiled_loops

Floats = NDArray[np.float64]


def entropy(mass: ArrayLike, axis: int = -1) -> Floats:
    """Entropy in bits of masses along one axis; they need not sum to one, and no mass at all has none.

    Examples
    --------
    >>> float(entropy([1.0, 1.0, 2.0]))
    1.5
    """
    mass = np.asarray(mass, dtype=float)
    total = mass.sum(axis=axis)
    safe = np.where(total > 0, total, 1.0)
    return np.asarray(np.maximum(np.log2(safe) - _m_log_m(mass).sum(axis=axis) / safe, 0.0))


def information(joint: ArrayLike) -> Floats:
    """Mutual information in bits of a table of masses, shape (..., classes, outcomes).

    It is what seeing the outcome takes off the entropy of the classes, on average.

    Examples
    --------
    >>> float(information([[0.5, 0.0], [0.0, 0.5]]))
    1.0
    """
    joint = np.asarray(joint, dtype=float)
    if joint.ndim == 3 and (loops := compiled_loops("hunt")):
        return np.asarray(loops.information(joint))
    flat = joint.reshape(*joint.shape[:-2], -1)
    told = entropy(joint.sum(axis=-1)) + entropy(joint.sum(axis=-2)) - entropy(flat)
    return np.asarray(np.maximum(told, 0.0))


def _m_log_m(mass: Floats) -> Floats:
    logs = np.maximum(mass, 1e-300)
    return np.asarray(mass * np.log2(logs, out=logs))
