"""A verdict on one value: pass, fail, or undecided because the limit lies within the uncertainty.

=================  =================  ====================================================================
symbol             name here          meaning
=================  =================  ====================================================================
y                  value              what was measured
U                  uncertainty        expanded uncertainty, 95 %: the guard band on both sides of the limit
T                  limit              the tolerance limit
=================  =================  ====================================================================
"""

from __future__ import annotations

from math import isfinite

from scipy import special

from dustcap.errors import InputError
from dustcap.proof.limits import ABOVE, BELOW, WITHIN

PASS, FAIL, UNDECIDED = "pass", "fail", "undecided"
COVERAGE = 1.959963984540054  # norm.ppf(0.975): expanded uncertainty over standard uncertainty


def verdict(value: float, limit: float, uncertainty: float, better: str = BELOW) -> str:
    """Pass, fail or undecided.

    Parameters
    ----------
    value, limit : float
        In one unit.
    uncertainty : float
        Expanded uncertainty (95 %) of the value, in that unit; zero or more.
    better : str
        Where good lies: "below" the limit, "above" it, or "within" plus and minus the limit.

    Notes
    -----
    Guarded acceptance and guarded rejection with a guard band of one expanded uncertainty [1]_: a value passes when it
    would do so with the uncertainty against it, fails when it would with the uncertainty in its favour. A unit exactly
    on the limit then passes, or fails, in 2.5 % of cases.

    References
    ----------
    .. [1] JCGM 106:2012, 8.3 (from memory).

    Examples
    --------
    >>> verdict(-52.0, -60.0, 1.0), verdict(-60.5, -60.0, 1.0), verdict(-0.2, 0.5, 0.1, "within")
    ('fail', 'undecided', 'pass')
    """
    _check(value, limit, uncertainty, better)
    excess = _excess(value, limit, better)
    if excess + uncertainty <= 0:
        return PASS
    return FAIL if excess - uncertainty > 0 else UNDECIDED


def conformance(value: float, limit: float, uncertainty: float, better: str = BELOW) -> float:
    """Probability that the true value is on the good side, for a Gaussian spread (JCGM 106:2012, 7, from memory)."""
    _check(value, limit, uncertainty, better)
    if uncertainty == 0:
        return float(_excess(value, limit, better) <= 0)
    sigma = uncertainty / COVERAGE
    below = float(special.ndtr((limit - value) / sigma))
    if better == ABOVE:
        return 1.0 - below
    return below if better == BELOW else below - float(special.ndtr((-limit - value) / sigma))


def _excess(value: float, limit: float, better: str) -> float:
    """How far the value is on the bad side, negative on the good side."""
    if better == WITHIN:
        return abs(value) - limit
    return value - limit if better == BELOW else limit - value


def _check(value: float, limit: float, uncertainty: float, better: str) -> None:
    if better not in (BELOW, ABOVE, WITHIN):
        raise InputError(
            f"there is no side {better!r} of a limit.", where="proof.verdicts", mend="Take below, above or within."
        )
    if not (isfinite(value) and isfinite(limit) and isfinite(uncertainty) and uncertainty >= 0):
        raise InputError(
            f"{value:g} against {limit:g}, give or take {uncertainty:g}, cannot be judged.",
            where="proof.verdicts",
            mend="Give finite numbers, and an uncertainty of zero or more.",
        )
