"""How far the parts of a healthy board may lie from their nominal values.

Resistors, capacitors, zeners and the like by their `tolerance`. The rest, where no source is named, is common practice,
no published source:

* transformer volts +-5 %, winding resistance +-10 %; supplies +-2 %, what a module drives +-3 %, regulators +-4 %
  (makers' sheets of fixed regulators, from memory);
* amplifiers: offset anywhere between minus and plus its `offset` about a nominal 0, each bias current between nothing
  and its `bias`, both uniform; headroom +-20 %, quiescent current of power amplifiers +-30 %;
* transistors: gain x0.5 to x2, saturation current of every junction within a factor of 3, both log-uniform;
  field-effect transistors: threshold +-20 %, k, cut-off and idss x0.6 to x1.6;
* electrolytic capacitors: a series resistance that was given +-30 %, one that was not between a fifth and the whole of
  the maker's limit; leakage within a factor of 3 when given, else between a ten-thousandth (nothing that an
  ohm-meter shows) and the whole of the limit, both log-uniform;
* driver: resistance +-5 %, resonance +-10 %, Qes +-10 %, Qms +-20 %; relay coil resistance and pull-in +-10 %.

Elements of one part that vary together (both halves of a track, the four diodes of a bridge) carry the same `group`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dustcap.board.circuit import elements_of
from dustcap.board.defaults import ESR_SHARE, LEAK_SHARE
from dustcap.board.model import Board, Part
from dustcap.circuit.elements import Element, Values

UNIFORM, LOG_UNIFORM = "uniform", "log-uniform"
LOWEST_ESR_SHARE = 0.2
LOWEST_LEAK_SHARE = 1e-4


@dataclass(frozen=True, slots=True)
class Tolerance:
    """One value that varies from board to board: between `low` and `high`, spread evenly or evenly in its logarithm.

    Values of one `group` lie at the same share of their range.
    """

    element: str
    value: str
    nominal: float
    low: float
    high: float
    spread: str = UNIFORM
    group: str = ""

    def at(self, share: ArrayLike) -> NDArray[np.float64]:
        """The value at a share of the range, 0 to 1, in the shape of `share`."""
        part = np.asarray(share, dtype=float)
        if self.spread == LOG_UNIFORM:
            return np.asarray(self.low * (self.high / self.low) ** part)
        return np.asarray(self.low + part * (self.high - self.low))


def groups_of(entries: Iterable[Tolerance]) -> tuple[str, ...]:
    """What varies independently, each once, in the order of the entries."""
    return tuple(dict.fromkeys(entry.group for entry in entries))


def values_at(entries: Sequence[Tolerance], shares: NDArray[np.float64]) -> Values:
    """Element values of drawn boards, as overrides for the circuit.

    Parameters
    ----------
    entries : sequence of Tolerance
    shares : ndarray, shape (groups, cases)
        Where in its range each group of `groups_of` lies, 0 to 1.

    Returns
    -------
    mapping of (element, value) to ndarray, shape (cases,)
    """
    row = dict(zip(groups_of(entries), shares, strict=True))
    return {(entry.element, entry.value): entry.at(row[entry.group]) for entry in entries}


def tolerances(board: Board) -> tuple[Tolerance, ...]:
    """What varies on a healthy board, part by part in the order of the description; ranges without width left out."""
    found = []
    for part in board.parts.values():
        elements = elements_of(part, board.common)
        found += [
            entry for entry in _of_part(part, elements) if 0 <= entry.high - entry.low < inf and entry.low < entry.high
        ]
    return tuple(found)


def _of_part(part: Part, elements: tuple[Element, ...]) -> Iterator[Tolerance]:
    for element in elements:
        for rule in _RULES.get(part.kind, ()):
            yield from rule(part, element)


Rule = Callable[[Part, Element], Iterator[Tolerance]]


def _around(value: str, share: float | None = None) -> Rule:
    """Plus and minus a share of nominal; the part's own `tolerance` when none is named."""

    def rule(part: Part, element: Element) -> Iterator[Tolerance]:
        nominal = element.value(value)
        width = abs(nominal) * (part.number("tolerance") if share is None else share)
        yield Tolerance(element.name, value, nominal, nominal - width, nominal + width, group=f"{element.name}.{value}")

    return rule


def _within(value: str, low: float, high: float) -> Rule:
    """Between two multiples of nominal, evenly in the logarithm."""

    def rule(part: Part, element: Element) -> Iterator[Tolerance]:
        nominal = element.value(value)
        yield Tolerance(
            element.name, value, nominal, nominal * low, nominal * high, LOG_UNIFORM, f"{element.name}.{value}"
        )

    return rule


def _junction(part: Part, element: Element) -> Iterator[Tolerance]:
    nominal = element.value("saturation_a")
    yield Tolerance(
        element.name, "saturation_a", nominal, nominal / 3, nominal * 3, LOG_UNIFORM, f"{part.name}.saturation_a"
    )


def _track(part: Part, element: Element) -> Iterator[Tolerance]:
    if not element.name.endswith(".wiper"):
        nominal, width = element.value("ohm"), part.number("tolerance")
        yield Tolerance(
            element.name, "ohm", nominal, nominal * (1 - width), nominal * (1 + width), group=f"{part.name}.ohm"
        )


def _offset(part: Part, element: Element) -> Iterator[Tolerance]:
    most = part.number("offset")
    yield Tolerance(element.name, "offset_v", 0.0, -most, most, group=f"{element.name}.offset_v")


def _bias(part: Part, element: Element) -> Iterator[Tolerance]:
    for value in ("bias_plus_a", "bias_minus_a"):
        most = part.number("bias")
        yield Tolerance(element.name, value, element.value(value), 0.0, most, group=f"{element.name}.{value}")


def _esr(part: Part, element: Element) -> Iterator[Tolerance]:
    nominal = element.value("esr_ohm")
    low, high = (0.7, 1.3) if "esr" in part.given else (LOWEST_ESR_SHARE / ESR_SHARE, 1 / ESR_SHARE)
    yield Tolerance(
        element.name, "esr_ohm", nominal, nominal * low, nominal * high, LOG_UNIFORM, f"{part.name}.esr_ohm"
    )


def _leakage(part: Part, element: Element) -> Iterator[Tolerance]:
    """Leakage as a resistance: the greater the current, the lower the ohms."""
    nominal = element.value("leak_ohm")
    low, high = (1 / 3, 3.0) if "leakage" in part.given else (LEAK_SHARE, LEAK_SHARE / LOWEST_LEAK_SHARE)
    yield Tolerance(
        element.name, "leak_ohm", nominal, nominal * low, nominal * high, LOG_UNIFORM, f"{part.name}.leak_ohm"
    )


def _module(part: Part, element: Element) -> Iterator[Tolerance]:
    value = {"source": "volts", "sink": "ampere", "gain": "gain"}[element.law]
    share = {"source": 0.03, "sink": 0.20, "gain": 0.05}[element.law]
    yield from _around(value, share)(part, element)


_AMPLIFIER = (_offset, _bias, _around("headroom_v", 0.20))
_FIELD = (_around("threshold_v", 0.20), _within("k_a_v2", 0.6, 1.6))
_DEPLETION = (_within("cutoff_v", 0.6, 1.6), _within("idss_a", 0.6, 1.6))
_BIPOLAR = (_within("gain", 0.5, 2.0), _junction)

_RULES: Mapping[str, tuple[Rule, ...]] = {
    "resistor": (_around("ohm"),),
    "capacitor": (_around("farad"),),
    "electrolytic": (_around("farad"), _esr, _leakage),
    "inductor": (_around("henry"), _around("ohm", 0.10)),
    "potentiometer": (_track,),
    "relay coil": (_around("ohm", 0.10), _around("pull_in_v", 0.10)),
    "diode": (_junction,),
    "bridge": (_junction,),
    "zener": (_around("zener_v"),),
    "npn": _BIPOLAR,
    "pnp": _BIPOLAR,
    "n-mosfet": _FIELD,
    "p-mosfet": _FIELD,
    "n-jfet": _DEPLETION,
    "p-jfet": _DEPLETION,
    "op amp": _AMPLIFIER,
    "power amplifier": (*_AMPLIFIER, _around("quiescent_a", 0.30)),
    "regulator": (_around("volts", 0.04),),
    "transformer": (_around("volts_rms", 0.05), _around("ohm_a", 0.10), _around("ohm_b", 0.10)),
    "supply": (_around("volts", 0.02),),
    "driver": (
        _around("ohm", 0.05),
        _around("fs_hz", 0.10),
        _around("qes", 0.10),
        _around("qms", 0.20),
    ),
    "module": (_module,),
}
