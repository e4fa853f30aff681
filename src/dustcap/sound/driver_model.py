r"""Impedance of an electrodynamic driver in free air, in a closed box and in a vented box.

==============  ==========  ======  ==================================================================
symbol          name here   unit    meaning
==============  ==========  ======  ==================================================================
R_E             re          ohm     d.c. resistance of the voice coil
f_S             fs          Hz      resonance of the driver as it is mounted
Q_MS, Q_ES      qms, qes    --      mechanical and electrical Q at f_S
alpha           alpha       --      compliance ratio V_AS / V_AB
f_B             fb          Hz      tuning of box and vent
Q_L, Q_P        1/ql, 1/qp  --      box losses by leakage and by friction in the vent, at f_B
==============  ==========  ======  ==================================================================

The motional impedance is :math:`(R_E/Q_{ES}) / (s + 1/s + 1/Q_{MS} + \alpha z)` with :math:`s = jf/f_S` and the box's
acoustic impedance :math:`z` against that of its air at :math:`f_S`:

* free air or a tight closed box, which only moves f_S and the Qs: :math:`z = 0`;
* a closed box with a leak: :math:`z = 1/(s + b)`;
* a vented box, with :math:`h = f_B/f_S`: :math:`z = 1/(s + h/Q_L + 1/(s/h^2 + 1/(h Q_P)))`.

Absorption in the box, Q_A, is left out: with it there is a whole family of drivers and losses that have the same
impedance at every frequency, so that leak, absorption, friction and Q_MS cannot be told apart by it. All of that family
have nearly the same sum of losses at f_B, and that is what is reported.

Linear, lumped: true below the first mode of diaphragm, cabinet and vent.

References
----------
.. [1] Small 1972, Direct radiator loudspeaker system analysis (from memory).
.. [2] Small 1973, Vented-box loudspeaker systems, parts I to IV: the losses Q_L, Q_A and Q_P.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from dustcap.sound.coil import Complex, Floats


@dataclass(frozen=True, slots=True)
class Mount:
    """How a driver is mounted: names of its parameters, and its motional impedance.

    Names that begin with ``inv_`` are reciprocals of a Q: they may be zero, all others are above zero.
    """

    name: str
    symbols: tuple[str, ...]
    motional: Callable[[Floats, Floats], Complex]
    """From parameters (p,), the first being re, and frequency (n,) in Hz: complex ohms (n,)."""


def _core(p: Floats, s: Complex) -> Complex:
    _, _, qms, _ = p[:4]
    return np.asarray(s + 1 / s + 1 / qms)


def _tight(p: Floats, hz: Floats) -> Complex:
    re, fs, _, qes = p[:4]
    return np.asarray(re / qes / _core(p, 1j * hz / fs))


def _leaky(p: Floats, hz: Floats) -> Complex:
    re, fs, _, qes, alpha, inv_ql = p
    s = 1j * hz / fs
    corner = np.sqrt(1 + alpha) * inv_ql  # the leak's Q is counted at the closed box's own resonance
    return np.asarray(re / qes / (_core(p, s) + alpha / (s + corner)))


def _vented(p: Floats, hz: Floats) -> Complex:
    re, fs, _, qes, alpha, fb, inv_ql = p[:7]
    inv_qp = p[7] if len(p) > 7 else 0.0
    s, h = 1j * hz / fs, fb / fs
    through_vent = 1 / (s / h**2 + inv_qp / h)
    return np.asarray(re / qes / (_core(p, s) + alpha / (s + h * inv_ql + through_vent)))


TIGHT = Mount("one resonance", ("re", "fs", "qms", "qes"), _tight)
LEAKY = Mount("closed box with a leak", (*TIGHT.symbols, "alpha", "inv_ql"), _leaky)
VENTED = Mount("vented box", (*TIGHT.symbols, "alpha", "fb", "inv_ql"), _vented)
VENTED_LOSSES = Mount("vented box, friction in the vent", (*VENTED.symbols, "inv_qp"), _vented)
