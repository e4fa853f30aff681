"""Which samples of a fault oscillate, against a loop worked out by hand."""

import numpy as np
from predict.small import small_board

from dustcap.faults.suspects import Leak, Suspect
from dustcap.predict.predictor import Predictor

SOURCE_OHM = 50.0


def loop_exceeds_one(ohms, value):
    """Nyquist: a leak from the output to the amplifier's input oscillates where the loop at zero phase exceeds one.

    Derived by hand: A = 1 + R4 / (R5 + 1/sC2), and the leak against R3 beside the source with C1.
    """
    hz = np.geomspace(0.05, 5e3, 20_001)
    s = 2j * np.pi * hz
    gain = 1 + value["R4"] / (value["R5"] + 0.3 + 1 / (s * value["C2"]))
    input_ohm = 1 / (1 / value["R3"] + 1 / (SOURCE_OHM + 1 / (s * value["C1"])))
    loop = gain * input_ohm / (input_ohm + ohms)
    crossings = np.flatnonzero(np.diff(np.sign(loop.imag)) != 0)
    return bool(np.any(loop.real[crossings] > 1.0))


def test_a_leak_squeals_at_those_of_its_samples_at_which_the_loop_exceeds_one():
    """Each sample of the leak by itself: the strong ones oscillate, the weak ones do not."""
    predictor = Predictor(small_board(), particles=16)
    leak = Suspect((Leak("amp_in", "out"),))

    grown = predictor.grown([leak])
    row = list(grown.suspects).index(leak)
    squeals = grown.heard("squeal", "")[row] > 0.5

    base = predictor.analyses.cases.base
    parts = {name: base[name, "farad" if name[0] == "C" else "ohm"] for name in ("R3", "R4", "R5", "C1", "C2")}
    ohms = grown.severities()[row]
    by_hand = [loop_exceeds_one(ohms[i], {k: v[i] for k, v in parts.items()}) for i in range(16)]
    assert squeals.tolist() == by_hand
    assert 2 < squeals.sum() < 14


def test_a_leak_across_a_resistor_of_a_divider_never_squeals():
    """No loop leads through it."""
    predictor = Predictor(small_board(), particles=8)
    leak = Suspect((Leak("mid", "plus12"),))

    grown = predictor.grown([leak])

    assert (grown.heard("squeal", "")[-1] < 0.05).all()
