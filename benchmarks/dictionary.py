"""The predictions of the demo board: every suspect in every sample, against each case solved alone from rest.

Every check that the hunt may ask for is read as well. The reference is the plain solution of single cases, drawn at
random, in the same process; it and the time for 256 samples are extrapolated. Peak memory is that of the process.
"""

from __future__ import annotations

import resource
import time

import numpy as np

from dustcap.circuit.operating import operating_point
from dustcap.demo.boards import model_27
from dustcap.predict.predictor import Predictor

DRAWN = 24
WHOLE = 256


def main() -> None:
    """Print the time a case of both, and their ratio."""
    predictor = Predictor(model_27("C"))
    cases = predictor.analyses.cases
    start = time.process_time()
    powered = predictor.analyses.powered(False)
    whole_s = time.process_time() - start
    count = powered.solved.size
    start = time.process_time()
    checks = [check for check in predictor.candidates() if check.kind not in ("look", "listen")]  # those read a word
    for check in checks:
        predictor.readings(check)
    read_s = time.process_time() - start
    rng = np.random.default_rng(27)
    picked = rng.choice(len(cases.suspects), DRAWN, replace=False)
    start = time.process_time()
    for suspect in picked:
        values = cases.values([int(suspect)])
        operating_point(cases.circuit, {key: value[:1] for key, value in values.items()})
    alone_s = (time.process_time() - start) / DRAWN
    each_s = whole_s / count
    print(
        f"cases {count}, solved {powered.solved.mean():.4%}; {whole_s:.1f} s of one core, {each_s * 1e3:.2f} ms a case"
    )
    print("with ripple, heat, gain and source resistance; a case alone from rest, operating point only:")
    print(f"{alone_s * 1e3:.1f} ms, ratio {alone_s / each_s:.0f}")
    particles = predictor.particles
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024**2
    print(
        f"{len(checks)} checks read in {read_s:.1f} s of one core; {particles} samples take {whole_s + read_s:.0f} s,"
        f" {WHOLE} would take {(whole_s + read_s) * WHOLE / particles:.0f} s; peak memory {peak:.2f} GiB"
    )


if __name__ == "__main__":
    main()
