r"""Fitting a driver's parameters to its impedance curve.

Weighted least squares on complex ohms, :math:`\sum |Z_{model} - Z|^2 / \sigma^2`, for each law of the voice coil; the
law with the smallest Bayesian information criterion is kept. The covariance is scaled by the scatter that was found, so
that it rests on the measurement and not on an assumed noise.

References
----------
.. [1] JCGM 100:2008, Guide to the expression of uncertainty in measurement, 5.1.2 and 5.2.2: propagation.
.. [2] Schwarz 1978, Estimating the dimension of a model, Ann. Statist. 6, 461 (from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special
from scipy.optimize import least_squares

from dustcap.errors import SolveError
from dustcap.sound.coil import LAWS, CoilLaw, Complex, Floats
from dustcap.sound.driver_model import Mount
from dustcap.sound.impedance import ImpedanceCurve

SURE = 1.96  # 95 %
LEAST_POINTS = 20
CELLS_PER_OCTAVE = 48  # points of the fit above the resonances, where nothing is narrow
STEP = 1e-6  # least step of a derivative
FIRST_TRIES, MOST_TRIES = 12, 60  # steps of a fit; one that creeps on beyond has a parameter too many
EXPONENTS = ("exponent", "x_r", "x_i")
LEAST_EXPONENT, MOST_EXPONENT = (
    0.3,
    1.1,
)  # ours: an exponent near zero is a resistance, and would stand for the coil's own
MOST_LOSS, MOST_REST, REST_HZ = 0.2, 0.05, 2.0  # ours: of re, at the resonance and near d.c.; more stands in for re


@dataclass(frozen=True, slots=True)
class Quantity:
    """A value with its 95 % range; `high` may be infinite."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class DriverFit:
    """A fitted model: `theta` (p,) of mount and coil in one row, its covariance, and how well it fits.

    `theta` holds the logarithm of each parameter, but for reciprocals of a Q, which are linear, and exponents, which
    are kept within bounds.
    `scatter` is the root of the mean squared residual over what the measurement's own noise explains: near one is a
    model that explains everything.
    """

    mount: Mount
    law: CoilLaw
    theta: Floats
    covariance: Floats
    scatter: float
    criterion: float
    band_hz: tuple[float, float]

    @property
    def symbols(self) -> tuple[str, ...]:
        return (*self.mount.symbols, *self.law.symbols)

    @property
    def parameters(self) -> Floats:
        return _natural(self.symbols, self.theta)

    def __getitem__(self, symbol: str) -> float:
        return float(self.parameters[self.symbols.index(symbol)])

    def ohm(self, hz: Floats) -> Complex:
        """Complex impedance of the model at frequencies (n,)."""
        return _ohm(self.mount, self.law, self.parameters, hz)

    def quantity(self, of: Callable[[Floats], float], *, linear: bool = False) -> Quantity:
        """A figure that follows from the parameters, with its range by propagation; `linear`: it may pass zero."""
        value = of(self.parameters)
        slopes = np.empty(self.theta.size)
        for i in range(self.theta.size):
            # a tenth of the uncertainty as step, so that what bends is seen as it is there
            step: Floats = np.zeros(self.theta.size)
            step[i] = min(max(float(np.sqrt(self.covariance[i, i])) * 0.1, STEP), 0.1)
            up, down = _natural(self.symbols, self.theta + step), _natural(self.symbols, self.theta - step)
            slopes[i] = (of(up) - of(down)) / (2 * step[i])
        variance = float(slopes @ self.covariance @ slopes)
        return ranged(value, max(variance, 0.0) ** 0.5, linear=linear)

    def parameter(self, symbol: str) -> Quantity:
        """One parameter with its range."""
        i = self.symbols.index(symbol)
        linear = symbol.startswith("inv_")
        return self.quantity(lambda p: float(p[i]), linear=linear)


def ranged(value: float, sigma: float, *, linear: bool = False) -> Quantity:
    """A value and its standard uncertainty as a 95 % range; above zero on a ratio scale, unless `linear`."""
    if linear or not value > 0:
        return Quantity(value, value - SURE * sigma, value + SURE * sigma)
    spread = float(np.exp(min(SURE * sigma / value, 50.0)))
    return Quantity(value, value / spread, value * spread)


def fit(
    curve: ImpedanceCurve,
    mount: Mount,
    starts: Sequence[Mapping[str, float]],
    *,
    laws: Sequence[CoilLaw] = LAWS,
    high_hz: float = 20_000.0,
) -> DriverFit:
    """The best fit of a mount to a curve over the laws of the coil, from several starts.

    Raises
    ------
    SolveError
        If there are too few points or no start leads to a fit.
    """
    hz, ohm, sigma = _thinned(curve, max(start.get("fh", start["fs"]) for start in starts), high_hz)
    if hz.size < LEAST_POINTS:
        raise SolveError(
            f"{hz.size} points are too few for a fit.", where="impedance", mend=f"Give {LEAST_POINTS} or more."
        )
    henry, w = _inductance_guess(hz, ohm, min(start["re"] for start in starts))
    found: list[DriverFit] = []
    for law in laws:
        coil = law.start(henry, w)
        if len(starts) > 1:  # a few steps from each, then on from where it looks best
            tries = [_solve(mount, law, hz, ohm, sigma, start, coil, most=FIRST_TRIES) for start in starts]
            known = [one for one in tries if one is not None]
            if not known:
                continue
            first = min(known, key=lambda one: one.criterion)
            starts, coil = [_start_of(first)], tuple(first.parameters[len(mount.symbols) :])
        arrived = _solve(mount, law, hz, ohm, sigma, starts[0], coil)
        if arrived is not None:
            found.append(arrived)
            leader = min(found, key=lambda one: one.criterion)
            starts = [_start_of(leader)]  # the other laws begin where one arrived
    if not found:
        raise SolveError("no driver fits this curve.", where="impedance", mend="Look at the curve: is it a driver?")
    honest = [
        one
        for one in found
        if _loss(one, one["fs"]) <= MOST_LOSS * one["re"] and _loss(one, REST_HZ) <= MOST_REST * one["re"]
    ]
    return min(honest or found, key=lambda one: one.criterion)


def _start_of(fitted: DriverFit) -> dict[str, float]:
    return {symbol: fitted[symbol] for symbol in fitted.mount.symbols}


def _loss(fitted: DriverFit, hz: float) -> float:
    """Real part of the blocked coil's impedance above re, in ohm."""
    coil = fitted.parameters[len(fitted.mount.symbols) :]
    return float(fitted.law.impedance(coil, np.array([2 * np.pi * hz]))[0].real)


def _solve(
    mount: Mount,
    law: CoilLaw,
    hz: Floats,
    ohm: Complex,
    sigma: Floats,
    start: Mapping[str, float],
    coil: Sequence[float],
    *,
    most: int = MOST_TRIES,
) -> DriverFit | None:
    symbols = (*mount.symbols, *law.symbols)
    begin = _theta(symbols, np.array([*(start.get(symbol, 0.0) for symbol in mount.symbols), *coil]))

    def residual(theta: Floats) -> Floats:
        with np.errstate(all="ignore"):
            miss = (_ohm(mount, law, _natural(symbols, theta), hz) - ohm) / sigma
        miss = np.where(np.isfinite(miss), miss, 1e6)
        return np.concatenate([miss.real, miss.imag])

    try:
        answer = least_squares(residual, begin, method="lm", xtol=1e-8, ftol=1e-9, max_nfev=most)
    except (ValueError, np.linalg.LinAlgError):
        return None
    count, free = 2 * hz.size, 2 * hz.size - begin.size
    total = 2 * float(answer.cost)
    if not (np.isfinite(total) and np.all(np.isfinite(answer.x)) and np.all(np.isfinite(answer.jac))):
        return None
    norms = np.maximum(np.linalg.norm(answer.jac, axis=0), 1e-100)
    scaled = answer.jac / norms
    covariance = _inverse(scaled) / np.outer(norms, norms) * total / free
    criterion = count * float(np.log(max(total / count, 1e-300))) + begin.size * float(np.log(count))
    scatter = float(np.sqrt(2 * total / count))  # sigma counts both axes, so a perfect model leaves a half in each
    return DriverFit(mount, law, answer.x, covariance, scatter, criterion, (float(hz[0]), float(hz[-1])))


def _inverse(jacobian: Floats) -> Floats:
    """Inverse of J^T J by singular values, so that a direction that the data leave open counts as wide open."""
    _, values, rows = np.linalg.svd(jacobian, full_matrices=False)
    return np.asarray((rows.T / np.maximum(values, 1e-12 * values[0]) ** 2) @ rows)


def _ohm(mount: Mount, law: CoilLaw, parameters: Floats, hz: Floats) -> Complex:
    count = len(mount.symbols)
    coil = law.impedance(parameters[count:], 2 * np.pi * hz)
    return np.asarray(parameters[0] + coil + mount.motional(parameters[:count], hz))


def _kinds(symbols: Sequence[str]) -> tuple[list[bool], list[bool]]:
    """Which parameters are above zero, and which are exponents."""
    powers = [symbol in EXPONENTS for symbol in symbols]
    logged = [not power and not symbol.startswith("inv_") for symbol, power in zip(symbols, powers, strict=True)]
    return logged, powers


def _natural(symbols: Sequence[str], theta: Floats) -> Floats:
    """Parameters from what is fitted."""
    logged, powers = _kinds(symbols)
    values = np.array(theta, float)
    values[logged] = np.exp(np.clip(values[logged], -60, 60))
    values[powers] = LEAST_EXPONENT + (MOST_EXPONENT - LEAST_EXPONENT) * special.expit(values[powers])
    return values


def _theta(symbols: Sequence[str], values: Floats) -> Floats:
    """What is fitted, from parameters; undoes `_natural`."""
    logged, powers = _kinds(symbols)
    theta = np.array(values, float)
    theta[logged] = np.log(theta[logged])
    share = (theta[powers] - LEAST_EXPONENT) / (MOST_EXPONENT - LEAST_EXPONENT)
    theta[powers] = special.logit(np.clip(share, 1e-6, 1 - 1e-6))
    return theta


def _thinned(curve: ImpedanceCurve, highest_hz: float, high_hz: float) -> tuple[Floats, Complex, Floats]:
    """The points of the fit: all of them up to four times the highest resonance, cells of a 48th of an octave above."""
    keep = np.isfinite(curve.sigma) & (curve.hz <= high_hz)
    hz, ohm, sigma = curve.hz[keep], curve.ohm[keep], curve.sigma[keep]
    cell = np.arange(hz.size)
    above = hz > 4 * highest_hz
    if above.any():
        number = np.floor(np.log2(hz[above] / (4 * highest_hz)) * CELLS_PER_OCTAVE).astype(int)
        cell[above] = int(cell[~above].max(initial=-1)) + 1 + number
    _, cell = np.unique(cell, return_inverse=True)
    weight = 1 / np.maximum(sigma, 1e-12) ** 2
    total = np.bincount(cell, weight)
    sums = np.bincount(cell, weight * ohm.real) + 1j * np.bincount(cell, weight * ohm.imag)
    mean: Complex = np.asarray(sums / total, complex)
    return np.bincount(cell, weight * hz) / total, mean, 1 / np.sqrt(total)


def _inductance_guess(hz: Floats, ohm: Complex, re: float) -> tuple[float, float]:
    """Inductance seen near the top of the band, and the angular frequency where."""
    top = hz >= hz[-1] / 2
    w = 2 * np.pi * float(np.mean(hz[top]))
    reactance = float(np.median(ohm[top].imag))
    return max(reactance, 0.01 * re) / w, w
