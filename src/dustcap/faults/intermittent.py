"""Faults that come and go: how probable it is that one shows while a check is made, and when it is heard.

All figures are common practice, no published source. That the series resistance of an electrolytic falls as it warms
is a fact of makers' data sheets, and that leakage of junctions grows with warmth is one of physics; how often a
technician is told so is not published.
"""

from __future__ import annotations

from collections.abc import Mapping

from dustcap.board.model import Board
from dustcap.faults.modes import family
from dustcap.faults.suspects import Fault, Leak, Suspect

SHOWS: Mapping[tuple[str, str], float] = {
    ("link", "open"): 0.85,
    ("link", "resistance"): 0.7,
    ("switch", "contact resistance"): 0.7,
    ("switch", "stuck open"): 0.9,
    ("relay contact", "contact resistance"): 0.7,
    ("relay contact", "stuck open"): 0.85,
    ("potentiometer", "noisy"): 0.6,
    ("potentiometer", "wiper open"): 0.7,
    ("op amp", "noisy"): 0.8,
    ("power amplifier", "noisy"): 0.8,
    ("resistor", "open"): 0.97,
    ("driver", "open"): 0.95,
    ("relay coil", "open"): 0.97,
    ("transformer", "winding open"): 0.97,
    ("bipolar", "base-emitter open"): 0.95,
}
"""Probability that a fault of this family and mode shows during a check; one for all others."""
LEAK_SHOWS = 0.95

Times = Mapping[str, float]
COLD, WARM, ALWAYS, SOMETIMES = "cold", "warm", "always", "sometimes"
STEADY: Times = {COLD: 0.05, WARM: 0.08, ALWAYS: 0.77, SOMETIMES: 0.10}
"""What is said of when a steady fault is heard; the words exclude each other."""
_DRIED: Times = {COLD: 0.40, WARM: 0.05, ALWAYS: 0.45, SOMETIMES: 0.10}
_JUNCTION: Times = {COLD: 0.05, WARM: 0.35, ALWAYS: 0.45, SOMETIMES: 0.15}
_CONTACT: Times = {COLD: 0.15, WARM: 0.20, ALWAYS: 0.20, SOMETIMES: 0.45}
_DAMP: Times = {COLD: 0.25, WARM: 0.10, ALWAYS: 0.45, SOMETIMES: 0.20}
_CHIP: Times = {COLD: 0.08, WARM: 0.30, ALWAYS: 0.47, SOMETIMES: 0.15}
TIMES: Mapping[tuple[str, str], Times] = {
    ("electrolytic", "esr up"): _DRIED,
    ("electrolytic", "capacity lost"): _DRIED,
    ("electrolytic", "leaky"): _JUNCTION,
    ("diode", "leaky"): _JUNCTION,
    ("rectifier", "leaky"): _JUNCTION,
    ("zener", "leaky"): _JUNCTION,
    ("bipolar", "collector-emitter leaky"): _JUNCTION,
    ("bipolar", "gain lost"): _JUNCTION,
    ("field effect", "gate leaky"): _JUNCTION,
    ("op amp", "input leakage"): _JUNCTION,
    ("power amplifier", "input leakage"): _JUNCTION,
    ("op amp", "noisy"): _CHIP,
    ("power amplifier", "noisy"): _CHIP,
    ("regulator", "oscillating"): _CHIP,
    ("link", "open"): _CONTACT,
    ("link", "resistance"): _CONTACT,
    ("switch", "contact resistance"): _CONTACT,
    ("relay contact", "contact resistance"): _CONTACT,
    ("relay contact", "stuck open"): _CONTACT,
    ("potentiometer", "noisy"): _CONTACT,
    ("potentiometer", "wiper open"): _CONTACT,
    ("driver", "open"): _CONTACT,
}
UNKNOWN: Times = {COLD: 0.15, WARM: 0.15, ALWAYS: 0.5, SOMETIMES: 0.2}
"""Of something that is not in the model."""


def shows(board: Board, suspect: Suspect) -> float:
    """Probability that every fault of a suspect shows while one check is made."""
    share = 1.0
    for fault in suspect.faults:
        share *= LEAK_SHOWS if isinstance(fault, Leak) else SHOWS.get(_row(board, fault), 1.0)
    return share


def heard_when(board: Board, suspect: Suspect, word: str) -> float:
    """Probability that a complaint that a suspect causes is said to come `word`: cold, warm, always or sometimes.

    Of several faults any may be the cause: their mean.
    """
    tables = [_DAMP if isinstance(fault, Leak) else TIMES.get(_row(board, fault), STEADY) for fault in suspect.faults]
    return sum(table[word] for table in tables) / len(tables) if tables else STEADY[word]


def _row(board: Board, fault: Fault) -> tuple[str, str]:
    assert not isinstance(fault, Leak)
    return family(board.part(fault.part)), fault.mode
