"""Does the crackle follow the volume? Two recordings at different settings of the control, event by event.

Crackle that is as frequent and as large at both settings arises after the control; crackle that grows with the volume
arises before it. Compared is what the events add to the recording, so the recorder's gain must be the same in both.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dustcap.sound.crackle import Crackle
from dustcap.sound.rates import ratio_interval, same_rate_p

Floats = NDArray[np.float64]

YES, NO, UNDECIDED = "yes", "no", "undecided"
LEAST_CHANGE_DB = 6.0  # ours: a smaller change of the control shows nothing
ALPHA = 0.05
CLEARLY, POOREST = 20.0, 1e-3  # ours: the better answer is so many times likelier, and not itself absurd
FEWEST = 5


@dataclass(frozen=True, slots=True)
class CrackleAgainst:
    """This recording against the other: rates as a ratio with its exact 95 % interval, sizes as a difference in dB.

    `size_db` is the median of the differences between events above the level that both recordings show.
    """

    follows_volume: str
    rate_ratio: float | None
    low: float
    high: float | None
    size_db: float | None
    why: str


def follows_volume(this: Crackle, other: Crackle, level_db: float | None = None) -> CrackleAgainst:
    """Compare the crackle of two recordings made at different settings of the volume control.

    Parameters
    ----------
    this, other : Crackle
        Crackle of both recordings.
    level_db : float, optional
        By how much the programme is louder in this recording; None when that is not known.

    Notes
    -----
    Two answers are tested with counts above a common level (conditional binomial) and with sizes (Mann-Whitney): the
    events are the same in both recordings; or they are `level_db` larger in this one. An answer is given when the
    other one is rejected at 5 % and is at least twenty times less likely. Without `level_db` the control is taken to
    have been moved by 6 dB or more, up or down: "no" needs both of these rejected, "yes" needs "the same" rejected
    at 1 %.
    """
    ratio = ratio_interval(this.events, this.seconds, other.events, other.seconds)
    these, those = _above_common(this, other, 0.0)
    verdict, why = _decide(this, other, level_db)
    return CrackleAgainst(
        verdict,
        ratio.value if np.isfinite(ratio.value) else None,
        ratio.low,
        ratio.high if np.isfinite(ratio.high) else None,
        _shift(these, those),
        why,
    )


def _decide(this: Crackle, other: Crackle, level_db: float | None) -> tuple[str, str]:
    if this.events + other.events < FEWEST:
        return UNDECIDED, "too few events"
    same_p = _p_same(this, other, 0.0)
    if level_db is None:
        return _decide_unknown(this, other, same_p)
    if abs(level_db) < LEAST_CHANGE_DB:
        return UNDECIDED, f"the volume differs by less than {LEAST_CHANGE_DB:g} dB"
    follow_p = _p_same(this, other, level_db)
    if _beats(same_p, follow_p):
        return NO, "as many and as large at both settings"
    if _beats(follow_p, same_p):
        return YES, "larger where the volume is higher"
    return UNDECIDED, "the events fit both answers" if max(same_p, follow_p) > ALPHA else "the events fit no answer"


def _decide_unknown(this: Crackle, other: Crackle, same_p: float) -> tuple[str, str]:
    moved_p = max(_p_same(this, other, LEAST_CHANGE_DB), _p_same(this, other, -LEAST_CHANGE_DB))
    if _beats(same_p, moved_p):
        return NO, "as many and as large in both recordings"
    if same_p < ALPHA / 5:
        return YES, "number or size changed with the setting"
    return UNDECIDED, "too few events to see a change"


def _beats(p: float, other_p: float) -> bool:
    return other_p < ALPHA and p > max(CLEARLY * other_p, POOREST)


def _p_same(this: Crackle, other: Crackle, louder_db: float) -> float:
    """Probability of counts or sizes as unlike as these when events of this recording are `louder_db` larger."""
    these, those = _above_common(this, other, louder_db)
    count_p = same_rate_p(these.size, this.seconds, those.size, other.seconds)
    if min(these.size, those.size) < FEWEST:
        return count_p
    from scipy.stats import mannwhitneyu  # slow to load, and seldom asked for

    size_p = float(mannwhitneyu(these, those).pvalue)
    return min(2 * min(count_p, size_p), 1.0)


def _above_common(this: Crackle, other: Crackle, louder_db: float) -> tuple[Floats, Floats]:
    """Levels of both, this recording's lowered by `louder_db`, that both recordings would have shown."""
    these, those = np.array(this.levels_dbfs) - louder_db, np.array(other.levels_dbfs)
    here, there = _smallest_level(this), _smallest_level(other)
    known = [level for level in (None if here is None else here - louder_db, there) if level is not None]
    least = max(known, default=-np.inf)
    return these[these >= least], those[those >= least]


def _smallest_level(crackle: Crackle) -> float | None:
    """Level (dBFS) that an event at the threshold has in that recording; None when it shows no event."""
    if not crackle.events:
        return None
    return crackle.threshold_db + float(np.median(np.array(crackle.levels_dbfs) - np.array(crackle.sizes_db)))


def _shift(these: Floats, those: Floats) -> float | None:
    """Median of all differences (Hodges-Lehmann), None without events in both."""
    if min(these.size, those.size) < 1:
        return None
    return float(np.median(np.subtract.outer(these, those)))
