"""Deconvolution against known systems: what goes in comes out."""

import numpy as np
import pytest
import scipy.fft as fft
from scipy import signal
from sound.takes import RATE, aligned, curve_db, loudspeaker, played, recorded, rest_of, swept

from dustcap.errors import SignalError
from dustcap.sound.stimulus import NAMES
from dustcap.sound.sweep import impulse_response, sweep_response


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize(("at_rate", "skew_ppm"), [(48000, 0), (96000, 200), (44100, -200)])
def test_the_transfer_function_is_that_of_the_filter(name, at_rate, skew_ppm):
    """Between 24 Hz and 19 kHz the spectrum has the filter's level, scipy.signal.sosfreqz, within 0.01 dB."""
    sections = loudspeaker()
    response, _ = swept(recorded(played(name).samples, at_rate=at_rate, skew_ppm=skew_ppm, sections=sections), at_rate)
    hz = np.geomspace(24.5, 19000, 300)

    db = 20 * np.log10(np.interp(hz, response.hz, np.abs(response.spectrum)))
    weight_db = 20 * np.log10(np.interp(hz, response.hz, response.weight))

    # frequencies are in the recorder's clock; 20 lg(at_rate / rate) does not show: a sample value is a sample value
    assert db - weight_db == pytest.approx(curve_db(sections, hz * (1 + skew_ppm * 1e-6)), abs=0.01)


def test_a_straight_wire_gives_one_pulse():
    """The impulse response of nothing is one sample, 60 dB above everything a millisecond away."""
    response, _ = swept(recorded(played("full 1").samples))

    impulse = impulse_response(response, 0.1, 0.4)

    at = int(np.argmax(np.abs(impulse)))
    assert at == pytest.approx(0.1 * RATE, abs=1)
    far = np.concatenate([impulse[: at - 48], impulse[at + 48 :]])
    assert np.abs(far).max() < 1e-3 * impulse[at]


def test_an_echo_stands_where_it_arrives():
    """An echo of 0.5 after 5 ms is a second pulse of 0.5, 240 samples later."""
    response, _ = swept(recorded(played("full 1").samples, echoes=((0.005, 0.5),)))

    impulse = impulse_response(response, 0.1, 0.4)
    at = int(np.argmax(np.abs(impulse)))

    assert impulse[at + 240] / impulse[at] == pytest.approx(0.5, abs=0.002)


@pytest.mark.parametrize("order", [2, 3, 4, 5])
def test_harmonics_arrive_early_by_growth_time_times_logarithm(order):
    """Order n stands L ln n before the linear response, to one sample."""
    # Farina, 108th AES Convention, 2000: dt = L ln n; with L = 1.15 s: 0.79712, 1.26340, 1.59424, 1.85085 s
    table_s = {2: 0.797119, 3: 1.263404, 4: 1.594239, 5: 1.850854}
    wave = played("full 1", 96000).samples
    response, _ = swept(recorded(wave + 0.4 * wave**order, rate=96000, at_rate=96000), 96000)

    impulse = np.abs(signal.hilbert(fft.irfft(response.spectrum, response.size)))
    around = np.arange(-200, 201) - round(table_s[order] * 96000)
    peak = around[np.argmax(np.take(impulse, around, mode="wrap"))]

    assert -peak / 96000 == pytest.approx(table_s[order], abs=1.5 / 96000)


@pytest.mark.parametrize(("begin_s", "end_s", "which"), [(10.0, 40.0, "beginning"), (0.0, 14.0, "end")])
def test_a_cut_sweep_is_refused(begin_s, end_s, which):
    """A recording that begins or ends inside the sweep cannot be deconvolved, and the message says which end."""
    samples = recorded(played("full 1").samples)
    cut = samples[int(begin_s * RATE) : int(end_s * RATE)]

    with pytest.raises(SignalError, match=f"{which} of the sweep"):
        sweep_response(cut, RATE, aligned(cut), np.zeros(0))


def test_an_offset_of_the_converter_does_not_matter():
    """A d.c. offset of a tenth of full scale leaves the curve within 0.01 dB."""
    clean = recorded(played("quick 1").samples, sections=loudspeaker())
    alignment = aligned(clean)
    first = sweep_response(clean, RATE, alignment, rest_of(clean, alignment))
    shifted = clean + 0.1
    second = sweep_response(shifted, RATE, alignment, rest_of(shifted, alignment))
    inside = (first.hz > 25) & (first.hz < 19000)

    change = 20 * np.log10(np.abs(second.spectrum[inside] / first.spectrum[inside]))

    assert np.abs(change).max() < 0.01
