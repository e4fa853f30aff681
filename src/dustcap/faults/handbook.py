"""Failure rates and failure-mode ratios of two public handbooks, as far as loudspeaker boards need them.

Rates: MIL-HDBK-217F notice 2 (1995), appendix A, parts count, environment "ground fixed", failures in 1e6 h, read in a
transcription; what is from memory or computed says so. Ratios: MIL-HDBK-338B (1998), table of failure-mode
distributions in the part on failure-mode analysis; all of them from memory, except linear microcircuits.

Both were made from military parts. They are the form of a prior, not a repair shop's prior: see `rates` and `modes`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from dustcap.errors import InputError


@dataclass(frozen=True, slots=True)
class Count:
    """One row of a parts count: rate at quality one, and the quality factor of commercial parts."""

    rate: float  # failures in 1e6 h, ground fixed
    quality: float  # commercial or plastic
    note: str = ""

    @property
    def commercial(self) -> float:
        """Failures in 1e6 h of a commercial part."""
        return self.rate * self.quality


PLASTIC, LOWER, RELAY, INDUCTIVE, SWITCH, CONNECTOR, CHIP = 8.0, 10.0, 2.9, 3.0, 2.0, 2.0, 10.0
"""Quality factors of commercial parts by family, appendix A; of microcircuits from memory."""

COUNTS: Mapping[str, Count] = {
    "film resistor": Count(0.016, LOWER),
    "wirewound resistor": Count(0.038, LOWER),
    "variable resistor": Count(0.0037 * 4, LOWER, "base rate of section 9.1 x environment 4, no stress factors"),
    "ceramic capacitor": Count(0.026, LOWER),
    "film capacitor": Count(0.0077, LOWER, "computed: section 10.1, 0.1 uF at 40 degC and half its volts"),
    "aluminium electrolytic": Count(0.019, LOWER),
    "general diode": Count(0.028, PLASTIC),
    "switching diode": Count(0.0075, PLASTIC),
    "rectifier": Count(0.022, PLASTIC),
    "zener": Count(0.024, PLASTIC),
    "small bipolar": Count(0.0011, PLASTIC),
    "power bipolar": Count(0.042, PLASTIC),
    "field effect": Count(0.099, PLASTIC),
    "small linear chip": Count(0.024, CHIP, "from memory"),
    "linear chip": Count(0.041, CHIP, "from memory"),
    "power transformer": Count(0.36, INDUCTIVE),
    "inductor": Count(0.00003 * 6, INDUCTIVE, "base rate of section 11.2 x environment 6"),
    "relay": Count(0.12, RELAY),
    "switch": Count(0.30, SWITCH),
    "connection": Count(0.0013, 1.0, "section 17.1, hand soldered, from memory; a transcription has 0.00026"),
    "fuse": Count(0.02, 1.0, "section 22.1, from memory"),
}

RATIOS: Mapping[str, Mapping[str, float]] = {
    "film resistor": {"open": 0.59, "change": 0.36, "short": 0.05},
    "variable resistor": {"open": 0.53, "erratic": 0.40, "short": 0.07},
    "ceramic capacitor": {"short": 0.49, "change": 0.29, "open": 0.22},
    "film capacitor": {"open": 0.42, "short": 0.40, "change": 0.18},
    "aluminium electrolytic": {"short": 0.53, "open": 0.35, "electrolyte leak": 0.10, "less capacitance": 0.02},
    "coil": {"short": 0.42, "open": 0.42, "change": 0.16},
    "general diode": {"short": 0.49, "open": 0.36, "parameter": 0.15},
    "rectifier": {"short": 0.51, "open": 0.29, "parameter": 0.20},
    "zener": {"open": 0.45, "parameter": 0.35, "short": 0.20},
    "bipolar": {"short": 0.73, "open": 0.27},
    "field effect": {"short": 0.51, "output low": 0.22, "parameter": 0.17, "open": 0.05, "output high": 0.05},
    "linear chip": {"improper output": 0.77, "no output": 0.23},  # read in an excerpt, not from memory
    "transformer": {"open": 0.42, "short": 0.42, "parameter": 0.16},
    "relay": {"fails to trip": 0.55, "spurious trip": 0.26, "short": 0.19},
    "switch": {"open": 0.65, "sticking": 0.19, "short": 0.16},
    "connection": {"open": 0.61, "poor contact": 0.23, "short": 0.16},
}


def parts_count(numbers: Mapping[str, int]) -> float:
    """Failure rate of a whole set of commercial parts, failures in 1e6 h, ground fixed.

    Parameters
    ----------
    numbers : mapping of row of `COUNTS` to number of parts

    References
    ----------
    .. [1] MIL-HDBK-217F notice 2, appendix A: the sum of number x rate x quality factor.

    Examples
    --------
    >>> round(parts_count({"film resistor": 20, "aluminium electrolytic": 6}), 2)
    4.34
    """
    for name in numbers:
        if name not in COUNTS:
            raise InputError(f"there is no row {name!r}.", where="parts count", mend=f"Rows: {', '.join(COUNTS)}.")
    return sum(number * COUNTS[name].commercial for name, number in numbers.items())
