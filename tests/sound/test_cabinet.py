"""The published short formulas against curves of exact circuits and the makers' sheets."""

import numpy as np
import pytest
from sound.drivers import A, box_load, speaker

from dustcap.sound.cabinet import (
    box_q,
    compliance_ratio,
    peaks_of,
    q_from_width,
    three_frequencies,
    tuning_from_sealed,
)

HZ = np.geomspace(5, 400, 8000)

# Makers' data sheets (Peerless SDS-P830657, SB17MFC35-8, Vifa PL18WO-09-08, SB SW26SFC38-8) and a maker's table
# (Kicker 49ST9MR8): Re, fs, Qms, Qes as printed; f1, f2 computed from them in exact arithmetic.
SHEETS = [
    (6.05, 44.75, 2.74, 0.55, 29.03232, 68.97701),
    (6.18, 110.3, 4.537, 1.297, 87.49235, 139.05319),
    (5.7, 33.0, 4.9, 0.4, 22.94554, 47.46020),
    (5.8, 38.0, 2.46, 0.4, 22.59710, 63.90200),
    (6.0, 29.0, 4.91, 0.37, 19.91589, 42.22759),
]


@pytest.mark.parametrize(("re", "fs", "qms", "qes", "f1", "f2"), SHEETS)
def test_the_width_of_the_peak_gives_the_makers_qs(re, fs, qms, qes, f1, f2):
    """A curve without inductance returns the Qs of the data sheet, and its flanks lie at f1 and f2 (Small 1972)."""
    ohm = speaker(re, fs, qms, qes).impedance(HZ)
    peak = peaks_of(HZ, ohm)[0]

    found = q_from_width(HZ, ohm, peak, re)

    assert found == pytest.approx((qms, qes), rel=2e-3)
    level = np.sqrt(re * re * (1 + qms / qes))
    at = np.abs(speaker(re, fs, qms, qes).impedance(np.array([f1, f2])))
    assert at == pytest.approx(level, rel=1e-5)


# volume l, tuning Hz, QL: fL, fM, fH in Hz, their moduli in ohm, and what the short formulas give for alpha and QL
# (reference circuit of driver A, solved apart from this project)
BOXES = [
    (20, 45, np.inf, 25.0102, 45.0001, 80.517, 36.1899, 6.05, 36.1899, 1.53851, None),
    (20, 45, 7, 24.8489, 44.9765, 81.0446, 27.8896, 7.0433, 27.7633, 1.57511, 6.8338),
    (20, 45, 3, 24.7443, 44.9563, 81.3885, 22.3023, 8.27, 22.1493, 1.59886, 2.884),
    (20, 38, 10, 21.7598, 38.4353, 78.0791, 28.1703, 6.6427, 31.11, 1.60627, 9.7281),
    (20, 38, 1.5, 21.8417, 39.4177, 78.1477, 15.7524, 9.5637, 19.5998, 1.68272, 1.4477),
    (12, 52, 20, 24.1422, 51.7123, 96.4188, 33.2978, 6.2968, 31.6918, 2.556, 19.9831),
    (12, 52, 3, 23.9891, 50.6601, 97.0982, 23.922, 7.6137, 20.2557, 2.5179, 2.9988),
]


@pytest.mark.parametrize(("litres", "fb", "ql", "fl", "fm", "fh", "zl", "zm", "zh", "alpha", "q"), BOXES)
def test_peaks_and_short_formulas_agree_with_the_solved_circuit(litres, fb, ql, fl, fm, fh, zl, zm, zh, alpha, q):
    """Frequencies, moduli, compliance ratio and Q_L are those of the reference circuit (Small 1973)."""
    driver = speaker(**A)
    volume = driver.vas * litres / 30.77  # the reference counts Vas as 30.77 l
    ohm = driver.impedance(HZ, box_load(HZ, volume, fb=fb, ql=ql))

    found = three_frequencies(HZ, ohm)

    assert (found.fl, found.fm, found.fh) == pytest.approx((fl, fm, fh), rel=5e-4)
    assert (found.ohm_l, found.ohm_m, found.ohm_h) == pytest.approx((zl, zm, zh), rel=5e-4)
    assert compliance_ratio(fl, fm, fh) == pytest.approx(alpha, rel=1e-4)
    if q is not None:
        own = box_q(44.75, (fl, fm, fh), zm / 6.05, 2.74, 0.55)
        assert own == pytest.approx(q, rel=1e-3)
        assert own == pytest.approx(ql, rel=0.06)


def test_the_sealed_vent_gives_the_tuning():
    """With lossless box the tuning from f_L, f_H and f_C is exact: driver A in 20 l has f_C = fs sqrt(1 + alpha)."""
    assert tuning_from_sealed(25.0102, 80.517, 44.75 * np.sqrt(1 + 1.5385)) == pytest.approx(45.0, rel=1e-4)
