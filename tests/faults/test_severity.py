"""Severities: ranges and laws as stated, absolute values on the given sample, variants evenly chosen."""

from math import inf

import numpy as np
import pytest
from faults.boards import GLUE, PLACED, every_kind
from hypothesis import given
from hypothesis import strategies as st

from dustcap.board.circuit import leak_name, to_circuit
from dustcap.circuit.elements import LAWS
from dustcap.errors import InputError
from dustcap.faults.severity import leak_ohms, overrides
from dustcap.faults.suspects import HEALTHY, Leak, PartFault, Suspect, suspects

BOARD = every_kind(PLACED + GLUE)
EVERY = suspects(BOARD)
CIRCUIT = to_circuit(BOARD, [(f.a, f.b) for s in EVERY for f in s.faults if isinstance(f, Leak)])
U = np.linspace(0.0, 1.0, 101)


def of(part, mode, u=U, nominal=None):
    return overrides(BOARD, Suspect((PartFault(part, mode),)), np.atleast_2d(u), nominal)


@pytest.mark.parametrize("suspect", EVERY, ids=lambda suspect: suspect.key)
def test_overrides_name_elements_and_values_of_the_circuit(suspect):
    """Every override is of an element of the board's circuit, of a value of its law, and a number in every case."""
    changed = overrides(BOARD, suspect, U[None, :])

    for (name, value), numbers in changed.items():
        assert value in LAWS[CIRCUIT.element(name).law].values
        assert np.shape(numbers) in ((), U.shape)
        assert not np.isnan(numbers).any()


@pytest.mark.parametrize("suspect", EVERY, ids=lambda suspect: suspect.key)
def test_every_fault_changes_its_part_in_every_case(suspect):
    """At each severity at least one value differs from the good one; a rubbing coil alone changes no circuit."""
    changed = overrides(BOARD, suspect, U[None, :])

    if suspect.key == "LS1 rubbing":
        assert not changed
        return
    differs = np.zeros(U.shape, dtype=bool)
    for (name, value), numbers in changed.items():
        differs |= np.broadcast_to(numbers, U.shape) != CIRCUIT.element(name).value(value)
    assert differs.all()


# Bounds of the project's physics page: resistor drift x1.3 to x10, capacitance x0.05 to x0.7, series resistance x3 to
# x100; the others are common practice.
@pytest.mark.parametrize(
    ("part", "mode", "value", "low", "high"),
    [
        ("R1", "drifted high", "ohm", 13e3, 100e3),
        ("R1", "short", "ohm", 0.05, 2.0),
        ("C9", "capacity lost", "farad", 50e-6, 700e-6),
        ("C1", "value lost", "farad", 0.05e-6, 0.7e-6),
        ("C9", "leaky", "leak_ohm", 100.0, 100e3),
        ("C9", "short", "leak_ohm", 0.05, 2.0),
        ("J1", "resistance", "ohm", 0.3, 100.0),
        ("S1", "contact resistance", "ohm", 0.3, 100.0),
        ("D1", "leaky", "shunt_ohm", 100.0, 100e3),
        ("Q1", "gain lost", "gain", 4.0, 60.0),
    ],
)
def test_each_severity_spans_its_range_evenly_in_logarithm(part, mode, value, low, high):
    """The quantiles 0, 1/2 and 1 lie at the bounds and their geometric mean."""
    got = of(part, mode, [0.0, 0.5, 1.0])[part, value]

    assert np.sort(got) == pytest.approx([low, np.sqrt(low * high), high], rel=1e-9)


def test_series_resistance_rises_threefold_to_a_hundredfold():
    """The bounds of the physics page on the part's own resistance."""
    own = CIRCUIT.element("C9").value("esr_ohm")

    assert of("C9", "esr up", [0.0, 1.0])["C9", "esr_ohm"] == pytest.approx([3 * own, 100 * own])


def test_a_leak_lies_between_a_kilohm_and_a_hundred_megohms():
    """Log-uniform, 1 kohm to 100 Mohm (physics page): the middle is 316 kohm."""
    got = overrides(BOARD, Suspect((Leak("wf_fb", "line", "glue_1"),)), [[0.0, 0.5, 1.0]])

    assert got[leak_name("line", "wf_fb"), "ohm"] == pytest.approx([1e3, 316.228e3, 100e6], rel=1e-5)
    assert leak_ohms(0.5) == pytest.approx(316.228e3, rel=1e-5)


def test_drift_is_on_the_sample_that_is_given():
    """With the resistors of a batch, each case drifts from its own."""
    sample = np.array([9.5e3, 10.5e3])

    got = of("R1", "drifted high", [0.0, 0.0], lambda element, value: sample)["R1", "ohm"]

    assert got == pytest.approx(1.3 * sample)


@pytest.mark.parametrize(
    ("part", "mode", "values"),
    [
        ("R1", "open", {("R1", "ohm"): inf}),
        ("F1", "open", {("F1", "ohm"): inf}),
        ("K1", "open", {("K1", "ohm"): inf}),
        ("RV1", "wiper open", {("RV1.wiper", "ohm"): inf}),
        ("D1", "open", {("D1", "present"): 0.0}),
        ("S1", "stuck open", {("S1", "force"): -1.0}),
        ("S1", "stuck closed", {("S1", "force"): 1.0}),
        ("U2", "stuck high", {("U2", "force"): 1.0}),
        ("U2", "stuck low", {("U2", "force"): -1.0}),
        ("U3", "dead", {("U3", "drive"): 0.0}),
        ("U3", "mute stuck", {("U3", "muted"): 1.0}),
        ("U1", "no output", {("U1", "drive"): 0.0}),
        ("U1", "oscillating", {("U1", "oscillates"): 1.0}),
        ("PS1", "no output", {("PS1", "volts"): 0.0, ("PS1", "ohm"): inf}),
        ("LS1", "reversed", {("LS1", "sign"): -1.0}),
        ("MOD1", "no output", {("MOD1.three", "volts"): 0.0}),
    ],
)
def test_a_mode_without_severity_is_one_state(part, mode, values):
    """Opens, stuck states and dead outputs are as the table of element laws writes them."""
    assert of(part, mode) == values


def test_each_diode_of_a_bridge_is_equally_likely_to_short():
    """A quarter of the cases each, exactly one diode a case."""
    got = of("BR1", "short", (np.arange(400) + 0.5) / 400)

    shorted = np.array([np.isfinite(numbers) for numbers in got.values()])

    assert shorted.shape == (4, 400)
    assert (shorted.sum(axis=0) == 1).all()
    assert shorted.sum(axis=1) == pytest.approx(100)


def test_input_leakage_flows_in_or_out_of_either_input():
    """All four variants occur, 0.1 to 20 uA, and the other input keeps its own current."""
    got = of("U2", "input leakage", (np.arange(400) + 0.5) / 400)
    plus, minus = (got["U2", f"bias_{pin}_a"] - 100e-9 for pin in ("plus", "minus"))
    leak = np.where(plus != 0, plus, minus)

    assert ((plus != 0) ^ (minus != 0)).all()
    assert [(plus > 0).sum(), (plus < 0).sum(), (minus > 0).sum(), (minus < 0).sum()] == pytest.approx([100] * 4)
    assert abs(leak).min() >= 0.1e-6
    assert abs(leak).max() <= 20e-6


def test_a_winding_opens_at_either_end_or_before_the_mains():
    """One third each: first half, second half, no volts at all."""
    got = of("T1", "winding open", (np.arange(300) + 0.5) / 300)

    assert np.isinf(got["T1", "ohm_a"]).sum() == np.isinf(got["T1", "ohm_b"]).sum() == 100
    assert ((got["T1", "scale_a"] == 0) & (got["T1", "scale_b"] == 0)).sum() == 100


@given(st.lists(st.sampled_from(EVERY), min_size=1, max_size=3, unique=True), st.integers(0, 2**32 - 1))
def test_a_joint_fault_is_its_faults_together(parts, seed):
    """The overrides of several faults are those of each with its own row of quantiles."""
    faults = tuple(fault for suspect in parts for fault in suspect.faults)
    u = np.random.default_rng(seed).random((len(faults), 5))

    together = overrides(BOARD, Suspect(faults), u)

    apart = {}
    for fault, row in zip(faults, u, strict=True):
        apart.update(overrides(BOARD, Suspect((fault,)), row[None, :]))
    assert together.keys() == apart.keys()
    for key, numbers in apart.items():
        assert np.array_equal(together[key], numbers)


def test_the_healthy_board_overrides_nothing():
    """No fault, no rows, no values."""
    assert overrides(BOARD, HEALTHY, np.empty((0, 7))) == {}


@pytest.mark.parametrize("u", [[0.5], [[0.5], [0.5]], [[1.1]], [[np.nan]]])
def test_impossible_severities_are_refused(u):
    """The shape is a row for each fault, the quantiles lie in 0..1."""
    with pytest.raises(InputError, match="severities of shape"):
        overrides(BOARD, Suspect((PartFault("R1", "open"),)), u)


def test_a_mode_of_another_kind_is_refused():
    """A resistor has no mute to stick."""
    with pytest.raises(InputError, match="has no mode 'mute stuck'"):
        of("R1", "mute stuck", [0.5])
