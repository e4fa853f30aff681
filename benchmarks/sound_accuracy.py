"""Accuracy of every sound quantity over seeded simulated recordings in three classes of difficulty.

Loudspeakers are random second-order filters (scipy), their distortion a polynomial whose harmonics have closed forms,
recorders have a clock, a rate, a bit depth and noise of their own, and hum, crackle and rubs are put in where the truth
is known. Run: OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 .venv/bin/python benchmarks/sound_accuracy.py [--takes 240]
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field

import numpy as np
import soxr
from numpy.typing import NDArray
from scipy import signal

from dustcap.errors import DustcapError
from dustcap.sound.listen import listen_to
from dustcap.sound.result import ListenResult
from dustcap.sound.stimulus import LEVEL_DBFS, START_HZ, Stimulus, make_stimulus

Floats = NDArray[np.float64]

RATE = 48000
CLASSES = {"easy": (55.0, 70.0), "middle": (40.0, 55.0), "hard": (31.0, 40.0)}  # S/N of the sweep, dB
RATES_HZ = (44100, 48000, 96000)
BITS = (16, 24)
AMPLITUDE = 10 ** (LEVEL_DBFS / 20)


@dataclass(slots=True)
class Truth:
    """What one take was made of."""

    kind: str
    skew_ppm: float
    sections: Floats
    second_db: float = np.nan
    third_db: float = np.nan
    mains_hz: float = np.nan
    lines: dict[int, float] = field(default_factory=dict)
    crackle_rate: float = 0.0
    rub_hz: float = np.nan
    rub_db: float = np.nan
    woofer: int = 1
    tweeter: int = 1
    edge_hz: float = np.nan


@dataclass(frozen=True, slots=True)
class Score:
    """One figure of one take: an error, or whether an interval held or an answer was right."""

    what: str
    kind: str
    value: float
    seed: int


def main() -> None:
    """Play all takes; print the table after every `--every` takes and at the end, each time of all so far."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--takes", type=int, default=240)
    parser.add_argument("--first", type=int, default=0, help="the first seed")
    parser.add_argument("--cores", type=int, default=2)
    parser.add_argument("--every", type=int, default=40)
    asked = parser.parse_args()
    seeds = range(asked.first, asked.first + asked.takes)
    begin, used_s, scores = time.perf_counter(), 0.0, []
    with ProcessPoolExecutor(asked.cores) as pool:
        for done, (some, seconds) in enumerate(pool.map(_timed, seeds), 1):
            scores += some
            used_s += seconds
            if done % asked.every == 0 or done == asked.takes:
                print(f"{done} takes from seed {asked.first}, {time.perf_counter() - begin:.0f} s", end="; ")
                print(f"processor time {used_s / done:.2f} s a take, making it included")
                _table(scores)


def _timed(seed: int) -> tuple[list[Score], float]:
    begin = time.process_time()
    return play(seed), time.process_time() - begin


def _table(scores: list[Score]) -> None:
    """Print the rows that have values, and the seeds of those that miss what is wanted of each."""
    print(f"| {'quantity':44} | {'class':6} | values | median or mean |     95 % |    worst | wanted |")
    for what, wanted, _ in ROWS:
        for kind in CLASSES:
            values = np.array([one.value for one in scores if one.what == what and one.kind == kind])
            if values.size:
                print(f"| {what:44} | {kind:6} | {values.size:6d} | {_figures(what, values)} | {wanted} |")
    for what, _, holds in ROWS:
        missed = [f"{one.seed} ({one.value:.3g})" for one in scores if one.what == what and not holds(one.value)]
        if missed:
            print(f"misses of {what}: seeds {', '.join(missed)}", flush=True)


def _within(most: float) -> Callable[[float], bool]:
    return lambda value: abs(value) <= most


def _is(right: float) -> Callable[[float], bool]:
    return lambda value: value == right


def _any(_value: float) -> bool:
    return True


ROWS: tuple[tuple[str, str, Callable[[float], bool]], ...] = (
    ("clock skew, ppm off", "1 ppm", _within(1.0)),
    ("response, dB off at the worst point", "0.1 dB (from 40 Hz, beside hum lines)", _within(0.1)),
    ("response inside its 95 % interval, share", ">= 0.95", lambda share: share >= 0.95),
    ("2nd harmonic, dB off", "0.3 dB at -60 dB", _within(0.3)),
    ("3rd harmonic, dB off", "0.3 dB at -60 dB", _within(0.3)),
    ("mains frequency, Hz off", "0.01 Hz", _within(0.01)),
    ("hum line, dB off", "0.2 dB at 20 dB above the noise", _within(0.2)),
    ("crackle interval holds the rate", "0.93 to 0.97", _is(1.0)),
    ("crackle told on a quiet unit", "0.004 at most", _is(0.0)),
    ("rub found, where the stated floor allows", "0.95", _is(1.0)),
    ("rub found, under the stated floor", "-", _any),
    ("rub told on a sound unit", "0", _is(0.0)),
    ("polarity of the woofer right", "1", _is(1.0)),
    ("polarity of the tweeter right", "1", _is(1.0)),
    ("reversed driver told", "1", _is(1.0)),
    ("refused", "0", _is(0.0)),
)


def _figures(what: str, values: Floats) -> str:
    if "off" in what:
        size = np.abs(values)
        return f"{np.median(size):14.3f} | {np.percentile(size, 95):8.3f} | {size.max():8.3f}"
    return f"{values.mean():14.3f} | {'':8} | {'':8}"


def play(seed: int) -> list[Score]:
    """Make one take and score it."""
    rng = np.random.default_rng(seed)
    kind = list(CLASSES)[seed % len(CLASSES)]
    stimulus = make_stimulus(RATE, "full 1" if seed % 4 else "quick 1")
    truth, wave, rate = take(stimulus, kind, rng)
    try:
        found = listen_to(wave, rate)
    except DustcapError:
        return [Score("refused", kind, 1.0, seed)]
    scores = [*_swept(truth, found), *_rested(truth, found), *_signs(truth, found)]
    return [
        Score(what, kind, float(value), seed) for what, value in [*scores, ("refused", float(found.response is None))]
    ]


def take(stimulus: Stimulus, kind: str, rng: np.random.Generator) -> tuple[Truth, Floats, int]:
    """One recording and what it was made of."""
    truth = Truth(kind, float(rng.uniform(-300, 300)), np.zeros((0, 6)))
    truth.woofer, truth.tweeter = (int(rng.choice([-1, 1])) for _ in range(2)) if rng.random() < 0.3 else (1, 1)
    truth.second_db, truth.third_db = (-float(rng.uniform(45, 60)) for _ in range(2))
    x = stimulus.samples
    a2 = 10 ** (truth.second_db / 20) * 2 / AMPLITUDE  # H2 = a2 A^2/2, H3 = a3 A^3/4
    a3 = 10 ** (truth.third_db / 20) * 4 / AMPLITUDE**2
    wave = x + a2 * x**2 + a3 * x**3
    if rng.random() < 0.5:
        truth.rub_hz, truth.rub_db = float(rng.uniform(50, 300)), -50.0
        wave = wave + _rub(stimulus, truth.rub_hz, truth.rub_db, rng)
    wave = np.concatenate([np.zeros(round(rng.uniform(0.2, 3) * RATE)), wave, np.zeros(RATE // 2)])
    wave = _loudspeaker(wave, truth, rng)
    rate = int(rng.choice(RATES_HZ))
    wave = soxr.resample(wave, RATE, rate * (1 + truth.skew_ppm * 1e-6), quality="VHQ") * rng.uniform(0.1, 0.8)
    level = np.std(wave[round(0.45 * wave.size) : round(0.55 * wave.size)])
    sigma = level * 10 ** (-rng.uniform(*CLASSES[kind]) / 20)
    noise = sigma * rng.standard_normal(wave.size)
    wave = wave + noise + _hum(wave.size, rate, sigma, truth, rng)
    if rng.random() < 0.4:
        truth.crackle_rate = float(rng.uniform(1, 6))
        wave = wave + _crackle(wave.size, rate, sigma, truth.crackle_rate, rng)
    steps = 2.0 ** (int(rng.choice(BITS)) - 1)
    return truth, np.round(np.clip(wave, -1, 1) * steps) / steps, rate


def _loudspeaker(wave: Floats, truth: Truth, rng: np.random.Generator) -> Floats:
    """A crossover of fourth order whose halves have signs, then high-pass, two bumps and the fall at the top."""
    truth.edge_hz = float(rng.uniform(1500, 3000))
    box = _high_pass(rng.uniform(40, 70), rng.uniform(0.6, 1.0)), _bump(rng.uniform(200, 900), rng.uniform(-3, 3))
    top = _bump(rng.uniform(3000, 9000), rng.uniform(-3, 3)), *signal.butter(2, 19000, fs=RATE, output="sos")
    truth.sections = np.array([*box, *top])
    low, high = (signal.sosfilt(half, wave) for half in _halves(truth.edge_hz))
    return np.asarray(signal.sosfilt(truth.sections, truth.woofer * low + truth.tweeter * high))


def _halves(edge_hz: float) -> list[Floats]:
    """Linkwitz-Riley halves: two Butterworth sections of second order each."""
    return [np.vstack([signal.butter(2, edge_hz, side, fs=RATE, output="sos")] * 2) for side in ("low", "high")]


def _high_pass(hz: float, q: float) -> Floats:
    w = 2 * RATE * np.tan(np.pi * hz / RATE)
    return np.concatenate(signal.bilinear([1, 0, 0], [1, w / q, w**2], RATE))


def _bump(hz: float, db: float, q: float = 1.5) -> Floats:
    w, gain = 2 * RATE * np.tan(np.pi * hz / RATE), 10 ** (db / 40)
    return np.concatenate(signal.bilinear([1, gain * w / q, w**2], [1, w / q / gain, w**2], RATE))


def _rub(stimulus: Stimulus, hz: float, db: float, rng: np.random.Generator) -> Floats:
    """A short burst in every cycle while the sweep passes a sixth of an octave."""
    sweep, growth = stimulus.layout.sweep, stimulus.layout.rate_s
    cycles = np.arange(round(START_HZ * growth), round(20000 * growth)) + rng.uniform()
    since_s = growth * np.log(cycles / (START_HZ * growth))
    at_hz = START_HZ * np.exp(since_s / growth)
    wave, times_s = np.zeros(stimulus.samples.size), np.arange(round(0.003 * RATE)) / RATE
    for at_s in since_s[np.abs(np.log2(at_hz / hz)) < 1 / 12]:
        burst = rng.standard_normal(times_s.size) * np.exp(-times_s / 0.0004)
        at = round((sweep.start_s + at_s) * RATE)
        wave[at : at + burst.size] += burst / np.abs(burst).max() * AMPLITUDE * 10 ** (db / 20)
    return wave


def _hum(size: int, rate: int, sigma: float, truth: Truth, rng: np.random.Generator) -> Floats:
    """Mains lines 20 to 40 dB above the white noise in the third octave that holds them."""
    if rng.random() < 0.4:
        return np.zeros(size)
    truth.mains_hz = float(rng.choice([50.0, 60.0]) + rng.uniform(-0.2, 0.2))
    time_s, wave = np.arange(size) / rate, np.zeros(size)
    for order in (1, 2, 4):
        hz = order * truth.mains_hz
        band = sigma * np.sqrt(hz * (10**0.05 - 10**-0.05) / (rate / 2))
        peak = np.sqrt(2) * band * 10 ** (rng.uniform(20, 40) / 20)
        truth.lines[order] = 20 * np.log10(peak)
        wave += peak * np.sin(2 * np.pi * hz * time_s + rng.uniform(0, 2 * np.pi))
    return wave


def _crackle(size: int, rate: int, sigma: float, rate_hz: float, rng: np.random.Generator) -> Floats:
    """Bursts at Poisson times, 18 to 30 dB over the white noise's sigma: none too weak to count."""
    wave, length = np.zeros(size), round(0.004 * rate)
    for at in rng.uniform(0, size / rate - 0.1, rng.poisson(rate_hz * (size / rate - 0.1))):
        burst = rng.standard_normal(length) * np.exp(-np.arange(length) / (0.0006 * rate))
        first = round(at * rate)
        wave[first : first + length] += burst / np.abs(burst).max() * sigma * 10 ** (rng.uniform(18, 30) / 20)
    return wave


Scores = list[tuple[str, float]]


def _swept(truth: Truth, found: ListenResult) -> Scores:
    """Clock, response, harmonics and rub."""
    scores: Scores = []
    if found.clock_skew_ppm is not None:
        scores.append(("clock skew, ppm off", found.clock_skew_ppm - truth.skew_ppm))
    if found.response is not None:
        inside = np.isfinite(found.response.db) & (found.response.hz < 0.85 * min(20000.0, found.sample_rate / 2))
        hz = found.response.hz[inside]
        off = found.response.db[inside] - _curve_db(truth, hz)
        clear = np.abs(np.log2(hz / truth.edge_hz)) > (0.7 if truth.woofer != truth.tweeter else 0.0)  # beside a null
        off -= off[clear].mean()
        lines = [order * truth.mains_hz for order in truth.lines]
        quiet = clear & np.all([np.abs(np.log2(hz / line)) > 1 / 6 for line in lines] or [clear], axis=0) & (hz > 40)
        scores.append(("response, dB off at the worst point", float(np.abs(off[quiet]).max())))
        held = np.abs(off[clear]) <= found.response.uncertainty_db[inside][clear]
        scores.append(("response inside its 95 % interval, share", float(held.mean())))
    same = truth.woofer == truth.tweeter
    for order, db, name in ((2, truth.second_db, "2nd"), (3, truth.third_db, "3rd")):
        orders = {one.order: one for one in found.harmonics.orders} if found.harmonics else {}
        if order in orders and same:
            one = orders[order]
            hz = one.hz[np.isfinite(one.db_below_fundamental) & (one.hz > 200) & (one.hz < 2000)]
            if hz.size:
                below = np.interp(hz, one.hz, one.db_below_fundamental)
                risen_db = 20 * np.log10(1 + 3 * 10 ** (truth.third_db / 20))  # x³ adds 3/4 a3 A³ to the fundamental
                true = _curve_db(truth, hz) + risen_db - db - _curve_db(truth, order * hz)
                scores.append((f"{name} harmonic, dB off", float(np.median(below - true))))
    if found.irregular is not None:
        near = [event for event in found.irregular.events if abs(np.log2(event.hz / truth.rub_hz)) < 0.17]
        if np.isfinite(truth.rub_hz):
            floor = np.interp(truth.rub_hz, found.irregular.hz, found.irregular.floor_db)
            seen = "rub found, where the stated floor allows" if floor < -53 else "rub found, under the stated floor"
            scores.append((seen, float(bool(near))))
        else:
            scores.append(("rub told on a sound unit", float(bool(found.irregular.events))))
    return scores


def _curve_db(truth: Truth, hz: Floats) -> Floats:
    low, high = (signal.sosfreqz(half, hz, fs=RATE)[1] for half in _halves(truth.edge_hz))
    crossed = truth.woofer * low + truth.tweeter * high
    whole = np.abs(signal.sosfreqz(truth.sections, hz, fs=RATE)[1] * crossed)
    return np.asarray(20 * np.log10(np.maximum(whole, 1e-9)))


def _rested(truth: Truth, found: ListenResult) -> Scores:
    """Hum and crackle of the quiet gap."""
    scores: Scores = []
    if found.rest is None:
        return scores
    noise, crackle = found.rest.noise, found.rest.crackle
    if np.isfinite(truth.mains_hz):
        off = noise.mains_hz - truth.mains_hz if noise.mains_hz is not None else np.inf
        scores.append(("mains frequency, Hz off", off))
        lines = {line.order: line.db for line in noise.hum}
        scores += [("hum line, dB off", lines.get(order, -np.inf) - db) for order, db in truth.lines.items()]
    if crackle is not None and truth.crackle_rate:
        scores.append(("crackle interval holds the rate", float(crackle.low <= truth.crackle_rate <= crackle.high)))
    elif crackle is not None:
        scores.append(("crackle told on a quiet unit", float(crackle.found)))
    return scores


def _signs(truth: Truth, found: ListenResult) -> Scores:
    """Polarity of the drivers."""
    if found.polarity is None:
        return []
    words = {1: "+", -1: "-"}
    scores = [
        ("polarity of the woofer right", float(found.polarity.woofer == words[truth.woofer])),
        ("polarity of the tweeter right", float(found.polarity.tweeter == words[truth.tweeter])),
    ]
    if truth.woofer != truth.tweeter:
        told = any(one.complaint == "polarity reversed" for one in found.evidence)
        scores.append(("reversed driver told", float(told)))
    return scores


if __name__ == "__main__":
    main()
