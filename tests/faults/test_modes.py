"""Failure modes: every kind has those of the contract, shares add up to one, overrides and seals hold."""

import pytest
from faults.boards import every_kind, small

from dustcap.board.kinds import KINDS
from dustcap.errors import InputError
from dustcap.faults.effects import effect_of
from dustcap.faults.handbook import RATIOS, parts_count
from dustcap.faults.modes import AGED, HANDBOOK, listens, shares, with_volume
from dustcap.faults.suspects import Leak, PartFault

# The list "Failure modes by name" of the contract of the board description, word for word.
CONTRACT = {
    "resistor": "open, drifted high, short",
    "capacitor": "open, short, value lost, leaky",
    "electrolytic": "capacity lost, esr up, leaky, short, open",
    "inductor": "open, short",
    "potentiometer": "wiper open, noisy, track worn",
    "link": "open, resistance",
    "switch": "stuck open, stuck closed, contact resistance",
    "relay coil": "open",
    "diode": "short, open, leaky",
    "zener": "short, open, leaky",
    "bridge": "short, open",
    "npn": "collector-emitter short, base-emitter open, base-emitter short, base-collector short, "
    "collector-emitter leaky, gain lost",
    "n-mosfet": "drain-source short, gate leaky, open",
    "p-jfet": "drain-source short, gate leaky, open",
    "op amp": "stuck high, stuck low, dead, input leakage, noisy, supply short",
    "power amplifier": "stuck high, stuck low, dead, input leakage, noisy, supply short, mute stuck",
    "regulator": "in-out short, no output, oscillating",
    "transformer": "winding open, shorted turns",
    "driver": "open, shorted turns, rubbing, reversed",
}
END = 'pins = ["a", "0V"] }\n'
EVERY = every_kind()
ONE_OF_EACH = {part.kind: part for part in EVERY.parts.values()}


def test_the_test_board_has_every_kind():
    """No kind is left out of the checks below."""
    assert set(ONE_OF_EACH) == set(KINDS)


@pytest.mark.parametrize("kind", CONTRACT)
def test_each_kind_fails_as_the_contract_says(kind):
    """A part of each kind has the modes of the contract, no more and no fewer."""
    assert set(shares(ONE_OF_EACH[kind])) == set(CONTRACT[kind].split(", "))


@pytest.mark.parametrize("table", ["aged", "handbook"])
@pytest.mark.parametrize("part", EVERY.parts.values(), ids=lambda part: part.name)
def test_shares_of_a_part_add_up_to_one(part, table):
    """In both tables the shares of a part that can fail add up to one, and none is negative."""
    found = shares(part, table)

    if part.kind == "input":
        assert found == {}
        return
    assert sum(found.values()) == pytest.approx(1.0, abs=1e-12)
    assert min(found.values()) > 0


@pytest.mark.parametrize("part", EVERY.parts.values(), ids=lambda part: part.name)
def test_every_mode_has_an_effect_and_the_boards_own_name(part):
    """Each mode is one that the room of boards knows, and its effect on the circuit is defined."""
    for mode in shares(part):
        assert effect_of(part, mode) is not None
        assert part.kind == "module" or mode in KINDS[part.kind].modes


@pytest.mark.parametrize("row", [*AGED, *HANDBOOK])
def test_written_shares_add_up_to_one(row):
    """The tables themselves need no scaling: rounding of the handbook's ratios apart, they add up to one."""
    for table in (AGED, HANDBOOK):
        if row != "input":
            assert sum(table[row].values()) == pytest.approx(1.0, abs=0.011)


@pytest.mark.parametrize("row", RATIOS)
def test_the_handbooks_ratios_add_up_to_one(row):
    """MIL-HDBK-338B prints ratios that add up to 1.00 within 0.01."""
    assert sum(RATIOS[row].values()) == pytest.approx(1.0, abs=0.0101)


def test_aged_electrolytics_dry_out_where_the_handbooks_do_not():
    """Wear comes first in aged units (makers: capacitance falls, loss factor rises), 2 % in the handbook."""
    worn = {"capacity lost", "esr up"}
    part = ONE_OF_EACH["electrolytic"]

    assert sum(shares(part)[mode] for mode in worn) > 0.5
    assert shares(part, "handbook")["capacity lost"] == pytest.approx(0.02)


def test_a_parts_own_modes_override_its_kinds():
    """Shares of the description are scaled to one, and modes left out or at zero do not happen."""
    board = small('R1 = { kind = "resistor", value = "1k", modes = { open = 3, short = 1, "drifted high" = 0 }, ' + END)

    assert shares(board.part("R1")) == pytest.approx({"open": 0.75, "short": 0.25})


def test_a_sealed_part_cannot_fail():
    """``sealed = true`` leaves no mode."""
    board = small('R1 = { kind = "resistor", value = "1k", sealed = true, ' + END)

    assert shares(board.part("R1")) == {}


def test_an_amplifier_without_a_mute_pin_cannot_be_stuck_muted():
    """The mode needs the pin; the others take its share."""
    pins = 'plus = "a", minus = "b", out = "b", high = "c", low = "0V"'
    board = small(f'U1 = {{ kind = "power amplifier", pins = {{ {pins} }} }}\n')

    assert "mute stuck" not in shares(board.part("U1"))
    assert sum(shares(board.part("U1")).values()) == pytest.approx(1.0)


def test_a_worn_potentiometer_crackles_with_the_volume():
    """Its crackle follows the knob; a noisy amplifier's is told, but not by the knob alone."""
    knob, chip = PartFault("RV1", "noisy"), PartFault("U2", "noisy")

    assert listens(EVERY, knob)["crackle"] > 0.5
    assert with_volume(EVERY, knob) == "follows"
    assert listens(EVERY, chip)["crackle"] > 0.3
    assert with_volume(EVERY, chip) == ""


@pytest.mark.parametrize(
    ("fault", "complaint"),
    [
        (PartFault("LS1", "rubbing"), "distorted"),
        (PartFault("S1", "contact resistance"), "comes and goes"),
        (PartFault("U1", "oscillating"), "squeal"),
        (PartFault("BR1", "short"), "blows fuse"),
        (Leak("rail+", "wf_fb"), "crackle"),
    ],
)
def test_what_a_circuit_cannot_say_is_told(fault, complaint):
    """Faults that only an ear or a nose notices have a probability of their complaint."""
    assert 0.1 < listens(EVERY, fault)[complaint] < 1.0


def test_a_plain_open_resistor_is_left_to_the_circuit():
    """Where the circuit says it all, nothing is added."""
    assert listens(EVERY, PartFault("R1", "open")) == {}


# MIL-HDBK-217F notice 2, appendix A, ground fixed, commercial quality, rates read in a transcription: case 1.20 of the
# handbook of check values, 6.0992 failures in 1e6 h (computed there from the same rows).
def test_a_parts_count_of_a_small_board_comes_out():
    """Twenty resistors, six electrolytics, four small and two power transistors, four rectifiers and a relay."""
    numbers = {
        "film resistor": 20,
        "aluminium electrolytic": 6,
        "small bipolar": 4,
        "power bipolar": 2,
        "rectifier": 4,
        "relay": 1,
    }

    assert parts_count(numbers) == pytest.approx(6.0992, rel=1e-6)
    assert 1e6 / parts_count(numbers) == pytest.approx(163_956, rel=1e-5)


def test_an_unknown_row_of_the_parts_count_is_refused():
    """A slip of the pen is no zero."""
    with pytest.raises(InputError, match="no row 'flux capacitor'"):
        parts_count({"flux capacitor": 1})
