"""Vented boxes: parameters from recordings, losses, and the verdict on a leak."""

import numpy as np
import pytest
from sound.drivers import A, box_load, recorded, speaker, sweep

from dustcap.errors import SolveError
from dustcap.sound.driver_fit import Quantity
from dustcap.sound.impedance import impedance_from_table, impedance_of
from dustcap.sound.vented_figures import leak_of, vented_box

HZ = np.geomspace(6, 12000, 300)

# fL, fM, fH in Hz of driver A (no inductance) in a box: volume l, tuning Hz, QL (reference circuit, solved apart)
CASES = [
    (20, 45, 20, 24.9468, 44.9908, 80.7238),
    (20, 45, 7, 24.8489, 44.9765, 81.0446),
    (20, 38, 3, 21.6356, 39.0958, 78.4765),
    (12, 52, 5, 24.0389, 51.0518, 96.9012),
    (20, 45, 1.5, 24.9436, 44.9455, 80.721),
]


@pytest.mark.parametrize(("litres", "fb", "ql", "fl", "fm", "fh"), CASES)
def test_a_box_is_known_from_its_curve(litres, fb, ql, fl, fm, fh):
    """Tuning, compliance ratio, losses and the three frequencies are those of the reference circuit."""
    driver = speaker(**A)
    volume = driver.vas * litres / 30.77
    curve = impedance_from_table(HZ, driver.impedance(HZ, box_load(HZ, volume, fb=fb, ql=ql)))

    box = vented_box(curve)

    assert (box.fl.value, box.fm.value, box.fh.value) == pytest.approx((fl, fm, fh), rel=1e-3)
    assert (box.fb.value, box.alpha.value) == pytest.approx((fb, 30.77 / litres), rel=2e-3)
    assert box.ql.value == pytest.approx(ql, rel=5e-3)


@pytest.mark.parametrize(("fb", "ql"), [(45, 7.0), (38, 3.1)])
def test_a_recording_at_40_db_gives_the_losses_within_a_tenth(fb, ql):
    """QL within 10 %, everything else within 1 %, with a lossy coil and mains in the wires."""
    driver = speaker(**A, coil="power law")
    volume = driver.vas / 1.5
    played = sweep(6.0)

    def ohm(hz):
        return driver.impedance(hz, box_load(hz, volume, fb=fb, ql=ql))

    box = vented_box(impedance_of(*recorded(ohm, played, seed=5, hum=0.004), 48000, 10.0))

    assert box.ql.value == pytest.approx(ql, rel=0.1)
    assert (box.fb.value, box.alpha.value, box.re.value) == pytest.approx((fb, 1.5, 6.05), rel=0.01)
    assert box.ql.low <= ql * 1.01


def test_absorption_and_friction_are_reported_with_the_leak():
    """With all three losses the sum is right (Small 1973: reciprocals add), and Qms is not claimed."""
    driver = speaker(**A, coil="power law")
    curve = impedance_from_table(HZ, driver.impedance(HZ, box_load(HZ, driver.vas / 1.5, fb=45, ql=8, qa=60, qp=80)))

    box = vented_box(curve)

    assert box.ql.value == pytest.approx(1 / (1 / 8 + 1 / 60 + 1 / 80), rel=0.01)
    assert box.qms is None
    assert box.alpha.low < 1.5 < box.alpha.high


@pytest.mark.parametrize(("own", "twin", "says"), [
    ((2.5, 2.3, 2.7), None, "yes"),
    ((2.9, 2.6, 3.2), None, "undecided"),
    ((8.0, 7.5, 8.5), None, "no"),
    (None, None, "no"),
    ((3.1, 2.9, 3.3), (7.0, 6.5, 7.5), "yes"),
    ((5.5, 5.2, 5.8), (7.0, 6.5, 7.5), "undecided"),
    ((6.9, 6.4, 7.4), (7.0, 6.5, 7.5), "no"),
])  # fmt: skip
def test_a_leak_is_said_with_its_doubt(own, twin, says):
    """Below 3 it leaks, above 7 it does not; a twin decides where there is one."""
    quantity = None if own is None else Quantity(*own)
    other = None if twin is None else Quantity(*twin)

    assert leak_of(quantity, twin=other, against_twin=other is not None) == says


def test_a_coil_that_does_not_move_has_no_box():
    """Without a peak there is nothing to fit."""
    with pytest.raises(SolveError, match="no resonance"):
        vented_box(impedance_from_table(HZ, 6 + 2j * np.pi * HZ * 1e-4))
