"""A healthy twin's readings against an error of the description.

The mixture is checked against a numeric integration with scipy; the rest on a board whose description is wrong.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from dustcap.board.read import parse_board
from dustcap.errors import InputError
from dustcap.hunt.board_names import known_of
from dustcap.hunt.evidence import Evidence, Reading
from dustcap.hunt.findings import parse_findings
from dustcap.hunt.hunt import HuntResult, hunt
from dustcap.hunt.meter import BENCH, POOR, POOR_WIDTH, positions, spread_of
from dustcap.hunt.twin import WRONG, WRONG_WIDTH, moved, shift_of
from dustcap.job.findings import document
from dustcap.job.payloads import Reading as Entered
from dustcap.job.rehearse import rehearse
from dustcap.predict.checks import Check
from dustcap.predict.predictor import Predictor

BOARD = """
layout = 1
[board]
name = "three dividers"
[parts]
V1 = {{ kind = "supply", value = "12 V", resistance = "1 ohm", pins = ["feed", "0V"] }}
R1 = {{ kind = "resistor", value = "10k", pins = ["feed", "one"] }}
R2 = {{ kind = "resistor", value = "{r2}", pins = ["one", "0V"] }}
R3 = {{ kind = "resistor", value = "22k", pins = ["feed", "two"] }}
R4 = {{ kind = "resistor", value = "10k", pins = ["two", "three"] }}
R5 = {{ kind = "resistor", value = "4k7", pins = ["three", "0V"] }}
"""
TRUE = parse_board(BOARD.format(r2="15k"))
DESCRIBED = parse_board(BOARD.format(r2="10k"))
CHECKS = tuple(Check("dc volts", net, "0V") for net in ("feed", "one", "two", "three"))


@pytest.fixture(scope="module")
def predictor() -> Predictor:
    return Predictor(DESCRIBED, seed=5)


def found(predictor: Predictor, told: Evidence) -> HuntResult:
    return hunt(predictor, told, 0)


def read_unit(faults: list[dict[str, str]], severities: list[float], seed: int) -> list[Entered]:
    """What a meter shows on a unit built as the boards really are, 15k where the description says 10k."""
    unit = rehearse(TRUE, faults, severities, seed)
    return [unit.read(check) for check in CHECKS]


def evidence_of(unit: list[Entered], twin: list[Entered]) -> Evidence:
    text = document(unit) + "".join(document([one]).replace("layout = 1", "") for one in twin).replace(
        "[[reading]]", "[[twin]]"
    )
    return parse_findings(text, "test", known_of(DESCRIBED))


def share_of(result: HuntResult, part: str) -> float:
    """Probability that a part has failed by itself."""
    return sum(row.probability for row in result.suspects if [f.part for f in row.suspect.faults] == [part])


@pytest.mark.parametrize("seed", [1, 2, 4, 6])
def test_a_wrong_value_in_the_description_misleads_until_the_twin_is_read(predictor: Predictor, seed: int) -> None:
    """15k where the description says 10k is blamed; with the twin it is cleared and the real fault leads."""
    sick = read_unit([{"part": "R4", "mode": "drifted high"}], [0.02], seed)
    alone = found(predictor, evidence_of(sick, []))
    assert share_of(alone, "R2") > 0.05
    told = found(predictor, evidence_of(sick, read_unit([], [], 100 + seed)))
    assert [fault.part for fault in told.suspects[0].suspect.faults] == ["R4"]
    assert told.suspects[0].probability > 0.5
    assert share_of(told, "R2") < 0.01
    assert any("the twin reads" in line for row in told.suspects for line in (*row.explains, *row.against))
    assert any("dc volts one" in note and "corrected" in note for note in told.notes)


def test_a_twin_within_the_tolerances_changes_little(predictor: Predictor) -> None:
    """Where the description is right, the fault leads with the twin and without."""
    unit = rehearse(DESCRIBED, [{"part": "R5", "mode": "open"}], [0.5], 3)
    sick = [unit.read(check) for check in CHECKS]
    good = rehearse(DESCRIBED, [], [], 4)
    twin = [good.read(check) for check in CHECKS]
    for some in ([], twin):
        told = found(predictor, evidence_of(sick, some))
        assert told.suspects[0].suspect.faults[0].part == "R5"  # type: ignore[union-attr]
        assert not told.notes


def test_the_error_of_the_description_is_the_posterior_of_its_mixture() -> None:
    """Its mean agrees with an integration of prior times likelihood by scipy."""
    healthy = np.linspace(5.0, 5.2, 32)
    check = CHECKS[1]
    spread = spread_of(check)
    place = positions(healthy, spread)
    for value in (5.1, 5.6, 7.5):
        shift = shift_of(healthy, [Reading(check, value, value, meter=BENCH)])
        assert shift is not None
        off = float(positions(value, spread)) - place.mean()
        noise = float(np.sqrt(place.var(ddof=1)))
        shares = ((1 - WRONG) * (1 - POOR), (1 - WRONG) * POOR, WRONG)

        def density(d: float, off: float = off, noise: float = noise, shares: tuple[float, ...] = shares) -> float:
            widths = (1.0, POOR_WIDTH, WRONG_WIDTH)
            prior = sum(s * norm.pdf(d, scale=w) for s, w in zip(shares, widths, strict=True))
            return float(prior * norm.pdf(off, d, noise))

        about = (off - 12 * noise, off + 12 * noise)
        whole = quad(density, *about, limit=400)[0]
        mean = quad(lambda d: d * density(d), *about, limit=400)[0] / whole
        assert shift.by == pytest.approx(mean, abs=0.05 * (1 + abs(mean)))
    assert noise**2 < shift.variance < noise**2 + 0.02 * off**2  # beside the noise: a slip of the lead on the twin


def test_what_reads_unlike_the_healthy_board_moves_less_and_is_doubted() -> None:
    """An output at its rail does not follow the twin all the way; what is no number stays."""
    check = CHECKS[1]
    values = np.array([[5.0, 5.1, 5.2], [5.0, 5.1, 5.2], [11.9, 11.9, 11.9], [np.nan, np.inf, 5.1]])
    shift = shift_of(values[0], [Reading(check, 6.1, 6.1)])
    assert shift is not None
    out, variance = moved(values, shift, check, "V")
    np.testing.assert_allclose(out[0] - values[0], 1.0, atol=0.1)
    np.testing.assert_allclose(out[1], out[0])
    assert np.all(out[2] - values[2] < 0.75)
    assert np.all(variance[2] > variance[0])
    assert np.isnan(out[3, 0])
    assert np.isinf(out[3, 1])


def test_a_twin_is_read_with_a_meter_on_this_board() -> None:
    """Looks and unknown nets are refused."""
    known = known_of(DESCRIBED)
    for table in ('check = "look"\npart = "R1"\nis = "clean"', 'check = "dc volts"\nat = "four"\nvalue = "1 V"'):
        with pytest.raises(InputError, match=r"meter|four"):
            parse_findings(f"layout = 1\n[[twin]]\n{table}\n", "f", known)
