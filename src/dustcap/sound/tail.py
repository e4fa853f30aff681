r"""What a gate cuts off the low end, continued by the loudspeaker's own roll-off.

A loudspeaker's lows are a high-pass of a few poles; everything else dies away within a few milliseconds. So the gated
impulse response, with the high-pass undone, must be over before the gate ends. Undoing it takes integrals only, which
need nothing from behind the gate, and is linear in the coefficients:

.. math:: m = h + a_1 \int h + a_2 \iint h + \ldots, \qquad H_{hp}(s) = \frac{s^n}{s^n + a_1 s^{n-1} + \ldots + a_n}

The coefficients that leave least of m in the second half of the gate are taken; m through the high-pass then runs on
behind the gate. If little of the tail is explained, or the poles are not those of a loudspeaker, nothing is continued.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import bilinear, lfilter

from dustcap.sound.stimulus import Samples

ORDERS = (2, 3)  # three poles describe roll-offs up to the sixth order above 1/T well enough, see the tests
AHEAD_S = 0.0015
FIT_FROM = 0.45  # of the gate: before that the middle and high frequencies still ring
FADE = 0.3  # of the gate, at its end, over which what is left of m is let go
STEP_S = 0.0001  # values are averaged over: the fit is about the lows
EXPLAINED_DB, WORTH_DB = 12.0, 3.0  # of the tail; more by the third pole, for it to be taken
POLES_HZ = (1.0, 600.0)
RUN_ON_S = 0.25


@dataclass(frozen=True, slots=True)
class Tail:
    """A roll-off: denominator coefficients 1, a1, ..., an in powers of s, and how much of the tail it explains."""

    coefficients: tuple[float, ...]
    explained_db: float

    @property
    def order(self) -> int:
        return len(self.coefficients) - 1


def fit_tail(gated: Samples, rate: float, length_s: float) -> Tail | None:
    """Roll-off behind an impulse response that begins `AHEAD_S` before the direct sound; none if it is not believable.

    Parameters
    ----------
    gated : ndarray, shape (n,)
        Samples up to the end of the gate, not faded.
    rate : float
        Sample rate, Hz.
    length_s : float
        From the direct sound to the end of the gate, s.
    """
    simple, finer = (_fit(gated, rate, length_s, order) for order in ORDERS)
    if finer is not None and (simple is None or finer.explained_db > simple.explained_db + WORTH_DB):
        simple = finer
    return simple if simple is not None and simple.explained_db > EXPLAINED_DB else None


def other_tail(gated: Samples, rate: float, length_s: float, tail: Tail) -> Tail | None:
    """The roll-off that the other number of poles gives, whatever it explains; none if its poles are impossible."""
    return _fit(gated, rate, length_s, ORDERS[0] if tail.order == ORDERS[1] else ORDERS[1])


def same_tail(gated: Samples, rate: float, length_s: float, tail: Tail) -> Tail | None:
    """The roll-off of as many poles that another gate gives; none if its poles are impossible."""
    return _fit(gated, rate, length_s, tail.order)


def run_on(gated: Samples, rate: float, length_s: float, tail: Tail) -> Samples:
    """The gated response continued `RUN_ON_S` behind the gate, faded over from the second half of the gate on."""
    undone = gated + np.tensordot(tail.coefficients[1:], _integrals(gated, rate, tail.order), 1)
    fade = max(round(FADE * length_s * rate), 2)
    undone[-fade:] *= 0.5 + 0.5 * np.cos(np.pi * (np.arange(fade) + 0.5) / fade)
    longer = np.zeros(gated.size + round(RUN_ON_S * rate))
    longer[: gated.size] = undone
    modelled = _high_pass(longer, rate, tail)
    times_s = np.arange(longer.size) / rate - AHEAD_S
    share = 0.5 + 0.5 * np.cos(np.pi * np.clip(2 * times_s / length_s - 1, 0, 1))
    share[gated.size :] = 0.0
    modelled *= 1 - share
    modelled[: gated.size] += share[: gated.size] * gated
    return np.asarray(modelled)


def _fit(gated: Samples, rate: float, length_s: float, order: int) -> Tail | None:
    first = round((AHEAD_S + FIT_FROM * length_s) * rate)
    step = max(round(STEP_S * rate), 1)
    count = (gated.size - first) // step
    if count < 3 * order:
        return None
    rows = np.stack([gated, *_integrals(gated, rate, order)])[:, first : first + count * step]
    rows = rows.reshape(order + 1, count, step).mean(axis=2)
    scale = np.sqrt(np.mean(rows**2, axis=1)) + 1e-300
    unknown = np.linalg.lstsq((rows[1:] / scale[1:, None]).T, -rows[0], rcond=1e-9)[0] / scale[1:]
    left = rows[0] + unknown @ rows[1:]
    explained_db = 10 * float(np.log10(np.mean(rows[0] ** 2) / (np.mean(left**2) + 1e-300)))
    coefficients = (1.0, *(float(each) for each in unknown))
    return Tail(coefficients, explained_db) if _possible(coefficients) else None


def _possible(coefficients: tuple[float, ...]) -> bool:
    """Poles that die away, at frequencies a loudspeaker's roll-off has."""
    poles = np.roots(coefficients)
    hz = np.abs(poles) / (2 * np.pi)
    return bool(np.all(poles.real < 0) and np.all((hz > POLES_HZ[0]) & (hz < POLES_HZ[1])))


def _integrals(wave: Samples, rate: float, order: int) -> NDArray[np.float64]:
    """First to n-th integral from the start, by the trapezoidal rule, shape (order, n)."""
    found = []
    for _ in range(order):
        wave = (np.cumsum(wave) - 0.5 * wave) / rate
        found.append(wave)
    return np.stack(found)


def _high_pass(wave: Samples, rate: float, tail: Tail) -> Samples:
    """The roll-off itself, by the bilinear transform: the exact inverse of the trapezoidal integrals."""
    numerator, denominator = bilinear([1.0, *([0.0] * tail.order)], tail.coefficients, rate)
    return np.asarray(lfilter(numerator, denominator, wave))
