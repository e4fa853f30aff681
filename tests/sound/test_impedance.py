"""Impedance from two channels: known loads, calibration, mains, clipping, and what is refused."""

import numpy as np
import pytest
from sound.drivers import A, recorded, speaker, sweep

from dustcap.errors import InputError, SignalError
from dustcap.sound.impedance import impedance_of
from dustcap.sound.impedance_ratio import channel_ratio, smooth

RATE = 48000
DRIVER = speaker(**A, coil="power law")


def plain(hz):
    """A resistor of 8 ohm in series with 1 mH: its impedance is known in closed form."""
    return 8 + 2j * np.pi * hz * 1e-3


def sure(curve, truth):
    """Share of points whose 95 % circle holds the truth."""
    return np.mean(np.abs(curve.ohm - truth(curve.hz)) < 1.96 * curve.sigma)


@pytest.mark.parametrize("resistor", [10.0, 47.0])
def test_a_resistor_and_a_coil_read_as_they_are(resistor):
    """The curve is that of the two parts, within its own range about as often as it says."""
    curve = impedance_of(*recorded(plain, sweep(5.0), resistor=resistor, snr_db=50), RATE, resistor)

    assert curve.valid[0] < 10
    assert curve.valid[1] > 20000
    assert np.abs(curve.ohm / plain(curve.hz) - 1).max() < 0.02
    assert sure(curve, plain) > 0.93
    assert curve.snr_db == pytest.approx(50, abs=2)


@pytest.mark.parametrize("kind", ["noise that goes on", "noise between silences", "a sweep that is cut"])
def test_it_does_not_matter_what_is_played(kind):
    """Noise and cut sweeps give the curve as well, where they sound."""
    noise = 0.5 * np.random.default_rng(4).standard_normal(8 * RATE)
    silence = np.zeros(RATE // 2)
    played = {
        "noise that goes on": noise,
        "noise between silences": np.concatenate([silence, noise, silence]),
        "a sweep that is cut": sweep(8.0)[2 * RATE : -2 * RATE],
    }[kind]

    curve = impedance_of(*recorded(DRIVER.impedance, played, snr_db=40, seed=2), RATE, 10.0)

    inside = (curve.hz > 30) & (curve.hz < 8000)
    assert np.count_nonzero(inside) > 500
    error = np.abs(curve.ohm / DRIVER.impedance(curve.hz) - 1)[inside]
    assert np.quantile(error, 0.95) < 0.02


def test_unequal_channels_are_put_right_by_a_calibration():
    """Gain 1.3 dB apart and a phase that turns with frequency disappear with both inputs on the source side."""

    def unequal(hz):
        return 10 ** (1.3 / 20) / (1 + 1j * hz / 90e3) * 1j * hz / (1j * hz + 0.8)

    wired = recorded(lambda hz: 1e9 + 0j * hz, sweep(5.0), seed=8, channels=unequal)
    channels = smooth(channel_ratio(*wired, RATE))
    takes = recorded(DRIVER.impedance, sweep(5.0), seed=9, channels=unequal)

    raw, right = impedance_of(*takes, RATE, 10.0), impedance_of(*takes, RATE, 10.0, channels=channels)

    assert np.median(np.abs(raw.ohm / DRIVER.impedance(raw.hz) - 1)) > 0.1
    error = np.abs(right.ohm / DRIVER.impedance(right.hz) - 1)[(right.hz > 15) & (right.hz < 15000)]
    assert np.quantile(error, 0.95) < 0.01
    assert any("taken as equal" in one.what for one in raw.warnings)
    assert not any("taken as equal" in one.what for one in right.warnings)


@pytest.mark.parametrize("seconds", [5.0, 12.0])
def test_mains_is_taken_out_and_named(seconds):
    """Mains lines 25 dB below the sweep are found at 49.97 Hz; the curve beside them stands within 1 %."""
    curve = impedance_of(*recorded(DRIVER.impedance, sweep(seconds), hum=0.01, seed=6), RATE, 10.0)

    assert curve.mains_hz == pytest.approx(49.97, abs=0.01)
    assert any("mains" in one.what for one in curve.warnings)
    near = (curve.hz > 40) & (curve.hz < 160)
    assert np.quantile(np.abs(curve.ohm / DRIVER.impedance(curve.hz) - 1)[near], 0.9) < 0.01


def test_clipping_is_named_with_its_channel():
    """A driver channel that hits its limit is warned of."""
    source, driver = recorded(DRIVER.impedance, sweep(3.0), seed=1)
    limit = 0.5 * np.abs(driver).max()

    curve = impedance_of(source, np.clip(driver, -limit, limit), RATE, 10.0)

    assert any("clipping in the driver channel" in one.what for one in curve.warnings)


def test_leads_are_taken_off():
    """0.2 ohm of leads comes off the real part."""
    takes = recorded(plain, sweep(3.0), seed=1)

    with_leads, without = impedance_of(*takes, RATE, 10.0), impedance_of(*takes, RATE, 10.0, leads_ohm=0.2)

    assert np.allclose(with_leads.ohm - without.ohm, 0.2)


def test_an_open_coil_and_a_short_are_said():
    """An open circuit and a short are answers, not noise."""
    opened = impedance_of(*recorded(lambda hz: 1e6 + 0j * hz, sweep(3.0)), RATE, 10.0)
    shorted = impedance_of(*recorded(lambda hz: 0.05 + 0j * hz, sweep(3.0)), RATE, 10.0)

    assert (opened.extreme, shorted.extreme) == ("open", "short")


def test_wrong_recordings_are_refused():
    """Swapped channels, silence, noise alone, too short a take and a resistor of nothing are refused with a reason."""
    source, driver = recorded(DRIVER.impedance, sweep(3.0))
    noise = 0.1 * np.random.default_rng(0).standard_normal((2, 4 * RATE))

    with pytest.raises(SignalError, match="louder than the source"):
        impedance_of(driver, source, RATE, 10.0)
    with pytest.raises(SignalError, match="silent"):
        impedance_of(0 * source, 0 * driver, RATE, 10.0)
    with pytest.raises(SignalError, match="no band"):
        impedance_of(*noise, RATE, 10.0)
    with pytest.raises(SignalError, match="less than a second"):
        impedance_of(source[:1000], driver[:1000], RATE, 10.0)
    with pytest.raises(InputError, match="not usable"):
        impedance_of(source, driver, RATE, 0.0)
    with pytest.raises(InputError, match="differ in length"):
        impedance_of(source[:-1], driver, RATE, 10.0)
