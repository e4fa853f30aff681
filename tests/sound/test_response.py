"""The response curve against known filters: within 0.1 dB above 30 dB S/N, and within what it claims."""

import numpy as np
import pytest
from scipy import signal
from sound.takes import RATE, curve_db, high_pass, loudspeaker, peak, played, recorded, swept

from dustcap.errors import SignalError
from dustcap.sound.response import FrequencyResponse, frequency_response

# The known filters are scipy.signal.sosfilt's, their true curves scipy.signal.sosfreqz's at the same frequencies.
FILTERS = {
    "loudspeaker": loudspeaker(),
    "fourth-order high-pass": signal.butter(4, 40, "high", fs=RATE, output="sos"),
    "resonances": np.array([high_pass(50, 1.1), peak(300, 5, 6), peak(2500, 6, -6), peak(8000, 4, 5)]),
}


def errors_db(response: FrequencyResponse, sections, skew_ppm=0.0, rate=RATE):
    """Difference to the true shape, the level constant removed, over the valid band."""
    inside = ~np.isnan(response.db)
    error = response.db[inside] - curve_db(sections, response.hz[inside] * (1 + skew_ppm * 1e-6), rate)
    return error - error.mean(), response.hz[inside], response.uncertainty_db[inside]


@pytest.mark.parametrize("sections", FILTERS.values(), ids=FILTERS)
@pytest.mark.parametrize(("name", "at_rate", "skew_ppm"), [("full 1", 48000, 200.0), ("quick 1", 96000, -200.0)])
def test_within_a_tenth_of_a_decibel(sections, name, at_rate, skew_ppm):
    """0.1 dB from 25 Hz to 19 kHz at 45 dB S/N and 200 ppm skew, in white noise."""
    samples = recorded(played(name).samples, at_rate=at_rate, skew_ppm=skew_ppm, sections=sections, noise_db=-62)

    response = frequency_response(*swept(samples, at_rate))

    error, hz, _ = errors_db(response, sections, skew_ppm)
    assert np.abs(error).max() < 0.1
    assert hz[0] < 40
    assert hz[-1] > 19000


def test_within_a_tenth_of_a_decibel_at_thirty_decibels():
    """The same at 31 dB S/N, the least at which it must hold."""
    samples = recorded(played("full 1").samples, skew_ppm=200, sections=loudspeaker(), noise_db=-47)

    error, hz, _ = errors_db(frequency_response(*swept(samples)), loudspeaker(), 200)

    assert np.abs(error).max() < 0.1
    assert hz[0] < 60


@pytest.mark.parametrize("pink", [False, True], ids=["white", "pink"])
@pytest.mark.parametrize("noise_db", [-55, -40])
def test_the_uncertainty_covers(pink, noise_db):
    """Over ten takes 93 to 100 % of the points lie within the 95 % that is claimed."""
    clean = recorded(played("quick 1").samples, skew_ppm=100, sections=loudspeaker())
    inside, claimed = [], []
    for seed in range(10):
        noise = np.random.default_rng(seed).standard_normal(clean.size)
        if pink:  # -3 dB an octave within 0.3 dB: three poles and zeros, common practice, no published source
            noise = signal.lfilter(
                [0.049922035, -0.095993537, 0.050612699, -0.004408786], [1, -2.494956, 2.017265875, -0.5221894], noise
            )
        samples = clean + 10 ** (noise_db / 20) * noise / noise.std()
        error, _, uncertainty = errors_db(frequency_response(*swept(samples)), loudspeaker(), 100)
        inside.append(np.mean(np.abs(error) <= uncertainty))
        claimed.append(np.median(uncertainty))

    assert 0.93 <= np.mean(inside) <= 1.0
    assert np.median(claimed) < 0.35


@pytest.mark.parametrize("late_s", [0.0035, 0.00466, 0.008])
def test_the_gate_ends_before_the_first_reflection(late_s):
    """The gate is a little shorter than the reflection's delay; nothing below 1/T is valid; above, 0.1 dB."""
    # 4.66 ms: floor reflection, microphone 1 m away and both 1.2 m high, 214.5 Hz (geometry, c = 343.2 m/s)
    echoes = ((late_s, 0.5), (1.5 * late_s, 0.4), (2.7 * late_s, -0.4))
    samples = recorded(played("quick 1").samples, sections=loudspeaker(), echoes=echoes, noise_db=-70)

    response = frequency_response(*swept(samples))

    assert 0.9 * late_s < response.gate_s < late_s
    assert response.valid[0] >= 1 / response.gate_s
    assert response.valid[0] < 1.2 / late_s
    error, _, uncertainty = errors_db(response, loudspeaker())
    assert np.mean(np.abs(error) <= uncertainty) > 0.95
    assert np.abs(error).max() < 0.1


def test_a_gate_costs_a_flat_system_nothing():
    """Without any tail to cut off the gated curve is flat within 0.05 dB from 1/T up."""
    flat = np.array([[1.0, 0, 0, 1, 0, 0]])
    samples = recorded(played("full 1").samples, echoes=((0.00466, 0.5), (0.011, -0.4)), noise_db=-75)

    error, _, _ = errors_db(frequency_response(*swept(samples)), flat)

    assert np.abs(error).max() < 0.05


def test_a_given_gate_is_used():
    """A gate of 5 ms gives a lowest valid frequency of 200 Hz."""
    response = frequency_response(*swept(recorded(played("quick 1").samples, sections=loudspeaker())), gate_s=0.005)

    assert response.gate_s == pytest.approx(0.005)
    assert response.valid[0] == pytest.approx(200, rel=0.02)


@pytest.mark.parametrize(("diameter_m", "limit_hz"), [(0.10, 1091.8), (0.134, 814.8), (0.16, 682.4)])
def test_near_field_ends_at_ka_of_one(diameter_m, limit_hz):
    """The near field reaches down to the sweep's start and up to c / (2 pi a), echoes or not."""
    # Keele, J. Audio Eng. Soc. 22, 1974: limit ka = 1; c = 343 m/s: 1091.8, 814.8, 682.4 Hz for a = 5, 6.7, 8 cm
    samples = recorded(played("quick 1").samples, sections=loudspeaker(), echoes=((0.006, 0.02),), noise_db=-75)

    response = frequency_response(*swept(samples), near_field=True, diameter_m=diameter_m)

    assert response.near_field
    assert response.valid[0] < 25
    assert response.valid[1] == pytest.approx(limit_hz, rel=0.02)


def test_the_valid_band_ends_where_noise_takes_over():
    """A loudspeaker that falls below the noise at 4 kHz has no valid points there."""
    sections = signal.butter(6, 1000, fs=RATE, output="sos")
    samples = recorded(played("quick 1").samples, sections=sections, noise_db=-45)

    response = frequency_response(*swept(samples))

    true_db = curve_db(sections, response.valid[1])
    assert 1500 < response.valid[1] < 6000
    assert -70 < true_db < -20
    assert np.isnan(response.db[response.hz > response.valid[1]]).all()


def test_a_recording_without_a_usable_octave_is_refused():
    """Noise far above the sweep leaves nothing to show."""
    samples = recorded(played("quick 1").samples, sections=loudspeaker(), gain=0.1)
    sweep, rest = swept(samples)

    with pytest.raises(SignalError, match="no band as wide as an octave"):
        frequency_response(sweep, rest + 100 * np.random.default_rng(1).standard_normal(rest.size))
