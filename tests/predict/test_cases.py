"""The samples that a board is computed in."""

import numpy as np
from predict.small import small_board

from dustcap.board.read import parse_board
from dustcap.faults.suspects import PartFault, Suspect
from dustcap.predict import cases
from dustcap.predict.checks import Check
from dustcap.predict.predictor import Predictor


def test_points_are_drawn_once_and_then_kept(monkeypatch):
    """The next program on the same store gets the same samples and draws none; single precision is enough for them."""
    store = {}
    first = Predictor(small_board(), particles=8, store=store)
    store |= {label: array.astype(np.float32) for label, array in store.items()}

    monkeypatch.setattr(cases, "unit_points", None)
    second = Predictor(small_board(), particles=8, store=store)

    np.testing.assert_allclose(second.analyses.cases.points, first.analyses.cases.points, atol=1e-6)
    np.testing.assert_allclose(second.analyses.cases.severity, first.analyses.cases.severity, atol=1e-6)
    assert second.analyses.cases.severity.min() > 0
    assert second.analyses.cases.severity.max() < 1


RAIL = """
layout = 1
[board]
name = "one rail"
revision = "A"
[parts]
V1 = { kind = "supply", value = "12 V", resistance = "0.1 ohm", pins = ["plus12", "0V"] }
C1 = { kind = "electrolytic", value = "1000 uF", voltage = "25 V", esr = "50 mohm", pins = ["plus12", "0V"] }
C2 = { kind = "capacitor", value = "100 nF", pins = ["plus12", "0V"] }
R1 = { kind = "resistor", value = "1k", pins = ["plus12", "mid"] }
R2 = { kind = "resistor", value = "1k", pins = ["mid", "0V"] }
"""


def test_shorts_across_the_same_two_nets_read_the_same_sample_by_sample():
    """Two-terminal elements in parallel are one (Kirchhoff): which of them is the short can be seen in no reading."""
    predictor = Predictor(parse_board(RAIL), particles=8)
    first, second = (predictor.suspects.index(Suspect((PartFault(name, "short"),))) for name in ("C1", "C2"))
    for check in (Check("ohms", "plus12", "0V"), Check("ohms", "mid", "0V"), Check("dc volts", "mid", "0V")):
        read = predictor.readings(check)
        np.testing.assert_allclose(read[first], read[second], rtol=1e-4)
    both = predictor.grown(
        [Suspect((PartFault(name, "short"), PartFault("R1", "drifted high"))) for name in ("C1", "C2")]
    )
    read = both.readings(Check("ohms", "mid", "0V"))
    np.testing.assert_allclose(read[-1], read[-2], rtol=1e-4)


def test_severity_and_tolerance_are_unrelated():
    """Of 32 samples no tolerance goes with a severity further than chance lets it (three standard errors)."""
    drawn = Predictor(small_board(), particles=32).analyses.cases
    both = np.corrcoef(np.concatenate([drawn.points.T, drawn.severity[1]]))
    count = drawn.points.shape[1]
    assert np.abs(both[:count, count:]).max() < 3 / np.sqrt(32)
    assert np.abs(both[count:, count:] - np.eye(3)).max() < 3 / np.sqrt(32)
