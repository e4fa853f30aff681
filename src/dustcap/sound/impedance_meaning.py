"""What an impedance says to a technician: open, short, jammed, stiff, torn, weak magnet, hot, rubbing, leaking.

The limits are ours (common practice, no published source) and are counted beyond the measurement's own range; each
sentence says what was read.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from dustcap.sound.driver_fit import Quantity

RESONANCE, COIL, MAGNET, DAMPING, TUNING = 0.08, 0.05, 0.15, 0.3, 0.06  # shares of the twin's that count
PLAUSIBLE = (0.65, 0.90)  # d.c. resistance over rated impedance of sound drivers (makers' data sheets)
LEVEL_PEAK, LEVEL_RESONANCE = 0.15, 0.08  # between two levels: more is not the suspension's usual give


@dataclass(frozen=True, slots=True)
class Meaning:
    """One sentence: what it is, what it was seen by, and what to do about it."""

    what: str
    why: str
    do: str


def extreme_meaning(extreme: str) -> Meaning:
    """What an open circuit or a short says."""
    if extreme == "open":
        return Meaning(
            "voice coil open",
            "more than 500 ohm in the middle of the band",
            "look at the lead-out wires, the tinsel and the connector before you condemn the coil",
        )
    return Meaning(
        "voice coil shorted, or the wires touch",
        "less than 0.3 ohm in the middle of the band",
        "take the connector off",
    )


def still_meaning(valid: tuple[float, float]) -> Meaning:
    """What a curve without a resonance says."""
    return Meaning(
        "no resonance: the coil is jammed or glued fast, or sits off its gap",
        f"no peak stands out from {valid[0]:.0f} Hz to {valid[1]:.0f} Hz",
        "push the cone in by hand, evenly: it must move freely and without a scrape",
    )


def coil_meaning(re: Quantity, rated_ohm: float | None) -> list[Meaning]:
    """The coil's resistance against the rated impedance."""
    if rated_ohm is None:
        return []
    share = re.value / rated_ohm
    said = f"{re.value:.2f} ohm d.c. for {rated_ohm:g} ohm rated: {100 * share:.0f} %, {_percent(PLAUSIBLE)} are usual"
    if re.high < PLAUSIBLE[0] * rated_ohm:
        return [Meaning("resistance low: shorted turns, or the wrong driver", said, "compare with the twin")]
    if re.low > PLAUSIBLE[1] * rated_ohm:
        return [Meaning("resistance high: a bad joint, or leads not taken off", said, "measure the leads: --leads")]
    return []


def twin_meaning(own: Mapping[str, Quantity | None], twin: Mapping[str, Quantity | None]) -> list[Meaning]:
    """Differences from a twin, or from the same driver before; the keys are re, f0, qm, qe, fb."""
    found = []
    for key, least, higher, lower, do in (
        (
            "re",
            COIL,
            "coil resistance {0} high: it is hot, or a joint is bad",
            "coil resistance {0} low: shorted turns",
            "let it cool for half an hour and measure again",
        ),
        (
            "f0",
            RESONANCE,
            "resonance {0} high: stiff or stuck suspension",
            "resonance {0} low: softened or torn suspension, or something heavy on the cone",
            "look at surround and spider, and push the cone in evenly by hand",
        ),
        (
            "qe",
            MAGNET,
            "electrical Q {0} high: weak magnet, or the coil stands off its place",
            "electrical Q {0} low: a lighter cone or another driver",
            "look whether the coil is centred and the magnet holds",
        ),
        (
            "qm",
            DAMPING,
            "mechanical Q {0} high: less damping than the twin",
            "mechanical Q {0} low: rubbing coil, wet or torn suspension, or a leak",
            "measure again at a higher level: --louder",
        ),
        (
            "fb",
            TUNING,
            "box tuning {0} high: short or missing vent tube, or a smaller box",
            "box tuning {0} low: something is in the vent",
            "look into the vent",
        ),
    ):
        mine, other = own.get(key), twin.get(key)
        if mine is None or other is None:
            continue
        share = mine.value / other.value - 1
        apart = mine.low > other.high if share > 0 else mine.high < other.low
        if abs(share) > least and apart:
            words = (higher if share > 0 else lower).format(f"{100 * abs(share):.0f} %")
            found.append(Meaning(words, f"{mine.value:.4g} against {other.value:.4g}", do))
    return found


def level_meaning(quiet: Mapping[str, Quantity | None], loud: Mapping[str, Quantity | None]) -> list[Meaning]:
    """Whether the impedance depends on the level; the keys are f0 and peak."""
    said = []
    for key, least, words in (("peak", LEVEL_PEAK, "peak"), ("f0", LEVEL_RESONANCE, "resonance")):
        soft, hard = quiet.get(key), loud.get(key)
        if soft is None or hard is None:
            continue
        share = hard.value / soft.value - 1
        if abs(share) > least and (hard.low > soft.high or hard.high < soft.low):
            said.append(f"{words} {100 * share:+.0f} % at the higher level")
    if not said:
        return []
    return [
        Meaning(
            "impedance changes with the level: rubbing coil, dirt in the gap, or a loose spider",
            ", ".join(said),
            "play 20 Hz to 60 Hz quietly and listen close; turn the driver by 90 degrees and measure again",
        )
    ]


def leak_meaning(leak: str, ql: Quantity | None, twin: Quantity | None, *, against_twin: bool) -> list[Meaning]:
    """The verdict on the cabinet in words."""
    own = "no loss found" if ql is None else f"QL {ql.value:.1f}"
    beside = f" against {'no loss' if twin is None else f'{twin.value:.1f}'} for its twin" if against_twin else ""
    do = "listen along gasket, panel and cable entry at the tuning frequency; press on the panel and measure again"
    if leak == "yes":
        return [Meaning("the cabinet leaks", own + beside, do)]
    if leak == "undecided":
        return [Meaning("whether the cabinet leaks is undecided", own + beside, "measure the twin: --twin")]
    return []


def _percent(ends: tuple[float, float]) -> str:
    return f"{100 * ends[0]:.0f} to {100 * ends[1]:.0f} %"
