"""Two loudspeakers recorded in one stereo take of the test recording."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from dustcap.errors import SignalError
from dustcap.sound.align import align
from dustcap.sound.cut import BEFORE_S
from dustcap.sound.pair import Pair, pair_of
from dustcap.sound.pilots import Found
from dustcap.sound.played import quiet_windows
from dustcap.sound.response import impulse_and_gate
from dustcap.sound.result import joined
from dustcap.sound.sweep import sweep_response


def pair_in_take(channels: NDArray[np.floating], rate: float, found: Sequence[Found | None]) -> Pair:
    """Compare the first two channels, first minus second.

    Parameters
    ----------
    channels : ndarray, shape (channels, n)
        The recording, full scale 1; the first loudspeaker is heard in channel 1, the second in channel 2.
    rate : float
        Its sample rate, Hz.
    found : sequence
        Where the pilots were found in each of these channels.

    Raises
    ------
    SignalError
        If a channel holds no test recording, or its sweep carries no response.

    Notes
    -----
    Both channels are read along the clock of the first, so that their delay is that of the loudspeakers. The gate is
    the shorter one of the two, from the earlier arrival on.
    """
    if len(channels) < 2:
        raise SignalError("the recording has one channel only.", where="sound.pair", mend="Record both in stereo.")
    first, second = found[0], found[1]
    if first is None or second is None:
        raise SignalError(
            f"channel {1 if first is None else 2} holds no test recording.",
            where="sound.pair",
            mend="Record each loudspeaker in a channel of its own.",
        )
    alignment = align(channels[0].astype(float), rate, first)
    impulses, gates = [], []
    for wave in channels[:2].astype(float):
        rest = joined(wave, rate, quiet_windows(wave, rate, alignment))
        if not rest.size:
            raise SignalError("no quiet gap is in the recording.", where="sound.pair", mend="Record all of it.")
        sweep = sweep_response(wave, rate, alignment, rest)
        impulse, gate = impulse_and_gate(sweep, rest)
        impulses.append(impulse)
        gates.append(gate)
    arrival_s = BEFORE_S + min(gate.direct_s for gate in gates)
    late_s = max(gate.direct_s for gate in gates) - min(gate.direct_s for gate in gates)
    size = min(impulse.size for impulse in impulses)
    return pair_of(
        impulses[0][:size],
        impulses[1][:size],
        sweep.rate,
        arrival_s,
        min(gate.length_s for gate in gates) + late_s,
        sweep.band_hz,
    )
