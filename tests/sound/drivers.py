"""Drivers and cabinets as electrical and acoustical circuits, and recordings of them; written apart from the package.

Everything is computed from mass, compliance, force factor, area, volumes and losses in SI units, by impedances in
series and parallel, not from Q values.
"""

from dataclasses import dataclass

import numpy as np
from scipy import fft

RHO, C = 1.2041, 343.215  # dry air at 20 °C


@dataclass(frozen=True)
class Speaker:
    """A driver by its physical parameters, made from the figures of a data sheet."""

    re: float
    mms: float
    cms: float
    rms: float
    bl: float
    sd: float
    coil: str = "none"
    le: float = 0.0  # henry at 1 kHz, about

    def blocked(self, hz):
        """Impedance of the blocked coil above re."""
        w = 2 * np.pi * hz
        jw, le = 1j * w, self.le
        if self.coil == "none":
            return 0 * jw
        if self.coil == "inductor":
            return jw * le
        if self.coil == "power law":
            return le * 2.8e3 * 1.1 * (jw / 2800) ** 0.68
        if self.coil == "shunted":
            return 0.5 * le * jw + 1 / (1 / (2.4e4 * le) + 1 / (1.2 * le * jw))
        if self.coil == "shunted half power":
            return 0.4 * le * jw + 1 / (1 / (1.6e5 * le) + 1 / (2 * le * jw) + 1 / (60 * le * np.sqrt(jw)))
        return le * 2.3e3 * (w / 1e4) ** 0.72 + 1j * le * 6.3e3 * (w / 1e4) ** 0.66  # two powers

    def impedance(self, hz, acoustic=0.0):
        """Ohms with an acoustical load in Pa s/m3 on the cone."""
        s = 2j * np.pi * hz
        mechanical = s * self.mms + self.rms + 1 / (s * self.cms) + self.sd**2 * acoustic
        return self.re + self.blocked(hz) + self.bl**2 / mechanical

    @property
    def fs(self):
        return 1 / (2 * np.pi * np.sqrt(self.mms * self.cms))

    @property
    def qms(self):
        return 2 * np.pi * self.fs * self.mms / self.rms

    @property
    def qes(self):
        return 2 * np.pi * self.fs * self.mms * self.re / self.bl**2

    @property
    def vas(self):
        return RHO * C**2 * self.sd**2 * self.cms


def speaker(re, fs, qms, qes, mms=0.0115, sd=0.0141, coil="none", le=0.38e-3):
    """A speaker that has these figures."""
    w = 2 * np.pi * fs
    bl = np.sqrt(w * mms * re / qes)
    return Speaker(re, mms, 1 / (w**2 * mms), w * mms / qms, bl, sd, coil, le)


A = {"re": 6.05, "fs": 44.75, "qms": 2.74, "qes": 0.55}
"""Worked example A of the reference book: a maker's data sheet."""


def box_load(hz, volume, *, fb=None, ql=np.inf, qa=np.inf, qp=np.inf, qb_hz=None):
    """Acoustical impedance of a box; with `fb` a vent. The Qs are at `fb`, or at `qb_hz` in a closed box."""
    s, air = 2j * np.pi * hz, volume / (RHO * C**2)
    w = 2 * np.pi * (fb or qb_hz or 1.0)
    admittance = 1 / (1 / (s * air) + 1 / (w * air * qa)) + w * air / ql
    if fb:
        admittance = admittance + 1 / (s / (w**2 * air) + 1 / (w * air * qp))
    return 1 / admittance


def sweep(seconds=8.0, low=5.0, high=21000.0, rate=48000, lead=1.0, tail=1.5):
    """An exponential sweep between silences, peak one."""
    t = np.arange(round(seconds * rate)) / rate
    growth = seconds / np.log(high / low)
    x = np.sin(2 * np.pi * low * growth * np.expm1(t / growth))
    up, down = round(0.05 * rate), round(0.005 * rate)
    x[:up] *= np.sin(np.linspace(0, np.pi / 2, up)) ** 2
    x[-down:] *= np.cos(np.linspace(0, np.pi / 2, down)) ** 2
    return np.concatenate([np.zeros(round(lead * rate)), x, np.zeros(round(tail * rate))])


def recorded(
    ohm, played, *, resistor=10.0, rate=48000, snr_db=40.0, seed=0, inner=1.0, channels=None, hum=0.0, bits=24
):
    """Both sides of the resistor, (2, n): `ohm` is a function of Hz, `channels` the driver channel's own response."""
    rng, inner, bits = np.random.default_rng(seed), 1.0, 24
    size = fft.next_fast_len(2 * played.size, real=True)
    hz = np.fft.rfftfreq(size, 1 / rate)
    hz[0] = hz[1] / 2
    z, spectrum = ohm(hz), np.fft.rfft(0.25 * played, size)
    source = np.fft.irfft(spectrum * (resistor + z) / (resistor + z + inner), size)[: played.size]
    behind = spectrum * z / (resistor + z + inner) * (1.0 if channels is None else channels(hz))
    driver = np.fft.irfft(behind, size)[: played.size]
    noise = np.sqrt(np.mean(driver[np.abs(played) > 0] ** 2)) * 10 ** (-snr_db / 20)
    both = np.stack([source, driver]) + noise * rng.standard_normal((2, played.size))
    t = np.arange(played.size) / rate
    for order, share in ((1, 1.0), (2, 0.3), (3, 0.5)):
        both += hum * share * np.sin(2 * np.pi * 49.97 * order * t + [[order], [order + 0.5]]) * [[1.0], [0.7]]
    step = 2.0 ** (1 - bits)
    return np.round(both / step) * step
