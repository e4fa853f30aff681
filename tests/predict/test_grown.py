"""Joint faults that are predicted on demand read as the board with both faults would, and weigh what the rule says."""

import numpy as np
import pytest
from predict.small import small_board

from dustcap.board.circuit import leak_name, to_circuit
from dustcap.circuit.meter import resistance
from dustcap.errors import InputError
from dustcap.faults.suspects import Leak, PartFault, Suspect, prior
from dustcap.predict.checks import METER_INPUT_OHM, Check
from dustcap.predict.predictor import NOT_IN_THE_MODEL, Predictor

DRIFTS = Suspect((PartFault("R1", "drifted high"), PartFault("R2", "drifted high")))
OPENS = Suspect((PartFault("R4", "open"), PartFault("R5", "open")))
MID = Check("dc volts", "mid", "0V")


@pytest.fixture(scope="module")
def singles():
    """Predictions of the board's single faults."""
    return Predictor(small_board(), particles=16, seed=3)


@pytest.fixture(scope="module")
def both(singles):
    """With two joint faults."""
    return singles.grown([DRIFTS, OPENS])


def test_a_joint_fault_reads_by_ohms_law(both):
    """With R1 and R2 both drifted the divider gives V R2' / (R1 + R2'), R2' with the meter's 10 Mohm beside it."""
    cases, row = both.analyses.cases, both.suspects.index(DRIFTS)
    changed = cases.of_suspect(row, cases.base)
    upper, lower = changed["R1", "ohm"], changed["R2", "ohm"]
    rail = cases.base["V1", "volts"]
    lower = lower * METER_INPUT_OHM / (lower + METER_INPUT_OHM)

    assert both.readings(MID)[row] == pytest.approx(rail * lower / (upper + lower), rel=2e-3)
    assert upper.max() > 2e6
    assert lower.max() > 1.5e6
    assert abs(np.corrcoef(np.log(upper), np.log(changed["R2", "ohm"]))[0, 1]) < 0.6  # two severities, not one


def test_the_single_faults_read_on_as_before(singles, both):
    """Growth adds rows at the end and changes none."""
    count = len(singles.suspects)
    ohms = Check("ohms", "fb", "0V")

    assert both.suspects[:count] == singles.suspects
    np.testing.assert_array_equal(both.readings(ohms)[:count], singles.readings(ohms))
    np.testing.assert_array_equal(both.heard("hum", "")[:count], singles.heard("hum", ""))
    np.testing.assert_array_equal(both.seen("R1", "scorched")[:count], singles.seen("R1", "scorched"))
    assert np.all(np.isinf(both.readings(Check("lifted", part="R5"))[both.suspects.index(OPENS)]))


def test_what_else_is_asked_for_changes_nothing(singles, both):
    """The same joint fault reads the same to the last digit, alone or with others, asked first or last."""
    alone = Predictor(small_board(), particles=16, seed=3).grown([DRIFTS])

    np.testing.assert_array_equal(alone.readings(MID)[-1], both.readings(MID)[both.suspects.index(DRIFTS)])
    np.testing.assert_array_equal(alone.heard("no output", "")[-1], both.heard("no output", "")[-2])


def test_joint_faults_weigh_the_product_of_their_members(singles, both):
    """Odds of a pair against a single fault are those of the rule of priors, and not in the model keeps its share."""
    expected = prior(small_board(), (*singles.suspects, DRIFTS), working_v=singles._working_v())
    one = [s.faults for s in singles.suspects].index((PartFault("R3", "open"),))

    found = both.prior

    assert found.sum() == pytest.approx(1 - NOT_IN_THE_MODEL)
    assert found[-2] / found[one] == pytest.approx(expected[-1] / expected[one], rel=1e-9)
    assert found[-2] < 0.1 * found[one]


def test_new_severities_can_be_drawn_for_a_joint_fault(both):
    """A renewed joint fault has other severities and reads accordingly."""
    row = both.suspects.index(DRIFTS)
    weights = np.full((len(both.suspects), 16), 1 / 16)

    fresh = both.renewed([row], weights, np.random.default_rng(1))

    assert not np.allclose(fresh.readings(MID)[row], both.readings(MID)[row])
    np.testing.assert_array_equal(fresh.readings(MID)[:row], both.readings(MID)[:row])


def test_each_leak_of_a_joint_fault_has_its_own_ohms(singles):
    """Two leaks of one area are two unknowns; a part fault has no ohms."""
    pairs = [s.faults[0] for s in singles.suspects[1:] if isinstance(s.faults[0], Leak)][:2]
    grown = singles.grown([Suspect(tuple(pairs)), Suspect((PartFault("C1", "open"), pairs[0]))])

    two, mixed = grown.severities_of(len(grown.suspects) - 2), grown.severities_of(len(grown.suspects) - 1)

    assert np.all(np.isfinite(two))
    assert not np.allclose(two[0], two[1])
    assert np.all(np.isnan(mixed[0]))
    assert np.all(np.isfinite(mixed[1]))


def test_a_leak_that_was_not_suspected_gets_its_place(singles):
    """A leak between nets of no area reads its own ohms where nothing else joins them."""
    leak = Suspect((Leak("minus12", "amp_in"),))
    grown = singles.grown([leak])

    ohms = grown.readings(Check("ohms", "amp_in", "minus12"))

    assert np.all(np.isinf(ohms[0]))
    leaks = grown.severities()[-1]
    assert ohms[-1][leaks < 50e6] == pytest.approx(leaks[leaks < 50e6], rel=1e-3)
    np.testing.assert_array_equal(ohms[:-1], singles.readings(Check("ohms", "amp_in", "minus12")))


def test_a_leak_to_no_net_of_the_board_is_refused(singles):
    """The message says what can be predicted."""
    with pytest.raises(InputError, match="cannot be predicted"):
        singles.grown([Suspect((PartFault("C1", "open"), Leak("minus12", "nowhere")))])


def test_ohms_beside_any_leak_are_what_the_plain_solver_finds(both):
    """From three numbers of the healthy board, against each leaking board solved by itself; at a lead, and beside."""
    many, rng = both.many, np.random.default_rng(1)
    values = {key: value[:8] for key, value in many.cases.base.items()}
    nets = sorted({*both.board.nets, "0V"})

    def two():
        return [nets[i] for i in rng.choice(len(nets), 2, replace=False)]

    tried = [("fb", "0V", "fb", "0V"), ("fb", "mid", "fb", "mid")]
    tried += [(*two(), *two()) for _ in range(30)]
    joined = apart = 0
    for a, b, at, against in tried:
        beside = both.beside_a_leak(Check("ohms", at, against), a, b)
        if beside is None:
            continue
        circuit, (base, share, transfer, across) = to_circuit(both.board, [(a, b)]), beside
        for ohms in (1e3, 47e3, 1e7):
            expected = resistance(circuit, [(at, against)], {**values, (leak_name(a, b), "ohm"): ohms})[:, 0]
            got = (base + share * ohms - transfer**2 / (ohms + across))[:8]
            np.testing.assert_allclose(got, expected, rtol=2e-4)
        joined, apart = joined + bool(np.isfinite(base).all()), apart + bool(np.isinf(base).all())
    assert joined > 8
    assert apart > 1


def test_a_board_that_was_kept_grows_from_its_volts():
    """What the kept healthy board stands at is where the new suspects' board starts; they read as from rest."""
    store: dict[str, np.ndarray] = {}
    Predictor(small_board(), particles=16, seed=3, store=store).heard("cone pushed out", "")
    kept = Predictor(small_board(), particles=16, seed=3, store=store).grown([DRIFTS, OPENS])
    cold = Predictor(small_board(), particles=16, seed=3).grown([DRIFTS, OPENS])

    assert cold.analyses.healthy_volts(True) is None
    assert kept.analyses.healthy_volts(True).shape == (16, len(kept.analyses.nets))
    for state in ("drivers disconnected", "drivers connected"):
        volts = Check("dc volts", "out", "0V", state=state)
        np.testing.assert_allclose(kept.readings(volts)[-2:], cold.readings(volts)[-2:], rtol=1e-6, atol=1e-7)
