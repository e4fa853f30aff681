"""The cautions that go with each state of the unit, with the mains and with some kinds of work.

The usual precautions of the trade, no published source, except for the touch limits: 60 V d.c. and 30 V a.c. r.m.s.
are the limits of the least energy class of IEC 62368-1 (ES1).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from dustcap.predict.checks import CONNECTED, DISCONNECTED, UNPLUGGED

BY_STATE: Mapping[str, str] = {
    UNPLUGGED: "Pull the mains plug, discharge the reservoirs through a resistor and verify with a voltmeter.",
    DISCONNECTED: (
        "Powered: disconnect the drivers first, power up through a lamp or a current-limited supply, work with one "
        "hand, behind an isolation transformer or a residual-current device, with eye protection."
    ),
    CONNECTED: (
        "Powered with drivers: only after the d.c. at every amplifier output was read with them disconnected; start "
        "quietly, keep the ears away, and the hand at the switch."
    ),
}
MAINS = (
    "Mains side: a switch-mode primary holds about 325 V d.c. for a while after unplugging. Above 60 V d.c. or 30 V "
    "a.c. r.m.s. (IEC 62368-1, ES1) nothing is touched."
)
CLEANING = "Scraping and soldering: eye protection, and keep dust and fumes out of the lungs."
LICENCE = "This does not replace local codes or a licensed person."


def for_states(states: Iterable[str]) -> tuple[str, ...]:
    """The caution of each state that is needed, once, the safest state first."""
    needed = set(states)
    return tuple(caution for state, caution in BY_STATE.items() if state in needed)
