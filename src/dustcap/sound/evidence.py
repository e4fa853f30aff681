"""What a recording adds to a hunt: complaint words with a measured value, its unit and its spread."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dustcap.sound.irregular import Irregular
from dustcap.sound.noise import Noise, Rest

WOOFER_BELOW_HZ = 1000.0  # ours: where a two-way loudspeaker's woofer radiates most of it
HUM_SPREAD_DB, RATTLE_SPREAD_DB = 1.0, 3.0  # ours: one take against the next


@dataclass(frozen=True, slots=True)
class Evidence:
    """A complaint that was measured. `driver` is none where the recording cannot tell."""

    complaint: str
    driver: str | None
    value: float
    unit: str
    spread: float


def evidence_of(rest: Rest | None, irregular: Irregular | None, sweep_dbfs: float | None) -> tuple[Evidence, ...]:
    """Hum (dB against the sweep as recorded, so that the recorder's gain drops out), crackle (events per second) and
    rattle (dB against the fundamental), each only where found.

    `sweep_dbfs` is the r.m.s. of the recorded sweep against a full-scale sine; hum is left out without it.
    """
    found = []
    if rest is not None and rest.noise.hum and sweep_dbfs is not None:
        found.append(_hum(rest.noise, sweep_dbfs))
    if rest is not None and rest.crackle is not None and rest.crackle.found:
        crackle = rest.crackle
        found.append(Evidence("crackle", None, crackle.rate, "1/s", (crackle.high - crackle.low) / 3.92))
    if irregular is not None and irregular.events:
        worst = max(irregular.events, key=lambda event: event.db)
        driver = "woofer" if worst.hz < WOOFER_BELOW_HZ else None
        found.append(Evidence("rattle", driver, worst.db, "dB", RATTLE_SPREAD_DB))
    return tuple(found)


def _hum(noise: Noise, sweep_dbfs: float) -> Evidence:
    hz = np.array([line.hz for line in noise.hum])
    power = 10 ** (np.array([line.db for line in noise.hum]) / 10)
    low = power[hz < WOOFER_BELOW_HZ].sum() > 0.5 * power.sum()
    value = 10 * float(np.log10(power.sum())) - sweep_dbfs
    return Evidence("hum", "woofer" if low else None, value, "dB", HUM_SPREAD_DB)
