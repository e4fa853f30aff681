"""The samples that a board is computed in."""

import numpy as np
from predict.small import small_board

from dustcap.predict import cases
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
