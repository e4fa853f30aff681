"""Priors: rates and shares as the handbook's worked cases, stress, areas, joint faults."""

from itertools import combinations
from math import inf

import numpy as np
import pytest
from faults.boards import GLUE, PLACED, every_kind, small

from dustcap.board.places import nets_in_area
from dustcap.errors import InputError
from dustcap.faults.rates import RATES, SOFTENED, base_rate, voltage_stress
from dustcap.faults.suspects import (
    AREA_WEIGHT,
    EXPECTED_FAULTS,
    HEALTHY,
    NEIGHBOUR_WEIGHT,
    Leak,
    PartFault,
    Suspect,
    prior,
    suspects,
)

FOUR_PARTS = """
R1 = { kind = "resistor", value = "1k", pins = ["a", "0V"] }
C1 = { kind = "electrolytic", value = "100 uF", voltage = "35 V", pins = ["a", "0V"] }
Q1 = { kind = "npn", pins = ["a", "b", "0V"] }
D1 = { kind = "diode", pins = ["a", "0V"] }
"""
TWIN_CAPS = """
C1 = { kind = "electrolytic", value = "100 uF", voltage = "35 V", pins = ["a", "0V"] }
C2 = { kind = "electrolytic", value = "100 uF", voltage = "35 V", pins = ["b", "0V"] }
C3 = { kind = "electrolytic", value = "100 uF", voltage = "63 V", pins = ["c", "0V"] }
"""


def single(part, mode):
    return Suspect((PartFault(part, mode),))


# Cases 1.22 and 1.23 of the handbook of check values: one film resistor, one electrolytic, one small transistor, one
# general diode, ground fixed, commercial; rates MIL-HDBK-217F notice 2 (read in a transcription) x ratios
# MIL-HDBK-338B (from memory): 0.19 x 0.53 / 0.5828 = 0.17279 and 0.224 x 0.49 / 0.5828 = 0.18833.
@pytest.mark.parametrize(("part", "expected"), [("C1", 0.17279), ("D1", 0.18833)])
def test_a_four_part_set_has_the_handbooks_prior(part, expected):
    """The handbook table reproduces the worked prior of a short."""
    board = small(FOUR_PARTS)
    parts_only = [s for s in suspects(board) if isinstance(s.faults[0], PartFault)]
    total = prior(board, parts_only, table="handbook").sum()

    got = prior(board, [single(part, "short")], table="handbook")[0] / total

    assert got == pytest.approx(expected, rel=1e-4)


def test_part_faults_add_up_to_the_expected_number():
    """All modes of all parts together weigh what was chosen, whatever the board."""
    board = every_kind()
    parts_only = [s for s in suspects(board) if isinstance(s.faults[0], PartFault)]

    assert prior(board, parts_only).sum() == pytest.approx(EXPECTED_FAULTS)


def test_a_marked_area_as_a_whole_weighs_what_was_chosen():
    """Its pairs share the weight evenly: two thirds of all part faults together for residue."""
    board = every_kind(PLACED + GLUE)
    leaks = [s for s in suspects(board) if isinstance(s.faults[0], Leak)]

    weights = prior(board, leaks)

    assert weights.sum() == pytest.approx(AREA_WEIGHT["residue"]) == pytest.approx(2 / 3 * EXPECTED_FAULTS)
    assert np.ptp(weights) == pytest.approx(0.0, abs=1e-15)


def test_every_pair_of_nets_of_an_area_is_suspected():
    """All pairs of the nets that run through the area, once each, and no others."""
    board = every_kind(PLACED + GLUE)
    nets = nets_in_area(board, board.areas["glue_1"])

    pairs = {frozenset((f.a, f.b)) for s in suspects(board) for f in s.faults if isinstance(f, Leak)}

    assert len(nets) > 5
    assert pairs == {frozenset(pair) for pair in combinations(nets, 2)}


def test_neighbours_weigh_little_when_nothing_is_marked():
    """Without an area the neighbouring pairs together weigh a thirtieth of the part faults."""
    board = every_kind(PLACED)
    leaks = [s for s in suspects(board) if isinstance(s.faults[0], Leak)]

    assert leaks
    assert prior(board, leaks).sum() == pytest.approx(NEIGHBOUR_WEIGHT)


def test_residue_seen_at_a_part_makes_its_nets_suspects():
    """A part with residue and no marked area brings the pairs of its own nets, heavier than mere neighbours."""
    board = every_kind()
    plain = {s.key for s in suspects(board)}

    seen = suspects(board, residue_on=["R3"])

    extra = [s for s in seen if isinstance(s.faults[0], Leak) and s.faults[0].area == "R3"]
    assert [(f.a, f.b) for s in extra for f in s.faults] == [("line", "fb")]
    assert prior(board, extra)[0] > prior(board, [Suspect((Leak("line", "fb"),))])[0]
    assert plain <= {s.key for s in seen}


def test_the_healthy_board_is_a_tenth_of_the_whole():
    """Its prior stands to all single faults as one to nine."""
    board = every_kind()
    singles = suspects(board)

    assert prior(board, [HEALTHY])[0] / prior(board, singles).sum() == pytest.approx(1 / 9)


def test_a_capacitor_near_its_rated_volts_fails_more_often():
    """MIL-HDBK-217F section 10.1, (S / 0.6)^5 + 1 (from memory): 2.607 times as often at 0.8 as at 0.6."""
    board = small(TWIN_CAPS)
    pair = [single("C1", "short"), single("C2", "short")]

    hot, cool = prior(board, pair, working_v={"C1": 28.0, "C2": -21.0}, table="handbook")
    softened = prior(board, pair, working_v={"C1": 28.0, "C2": -21.0})

    assert hot / cool == pytest.approx(((0.8 / 0.6) ** 5 + 1) / 2)
    assert softened[0] / softened[1] == pytest.approx((hot / cool) ** SOFTENED)
    assert voltage_stress("ceramic capacitor", 0.0) == 0.5


def test_a_large_electrolytic_fails_more_often_than_a_small_one():
    """MIL-HDBK-217F section 10.1, C^0.23 (from memory): 2200 uF against 22 uF is 100^0.23 = 2.88 times."""
    text = TWIN_CAPS.replace("100 uF", "2200 uF", 1).replace("100 uF", "22 uF", 1)

    pair = [single("C1", "open"), single("C2", "open")]
    large, small_one = prior(small(text), pair, table="handbook")
    softened = prior(small(text), pair)

    assert large / small_one == pytest.approx(100**0.23)
    assert softened[0] / softened[1] == pytest.approx((large / small_one) ** SOFTENED)


def test_a_part_in_residue_fails_more_often_than_its_twin_outside():
    """U3 stands in the glue; the factor applies to it alone."""
    inside, outside = (
        prior(every_kind(more), [single("U3", "dead"), single("U2", "dead")]) for more in (PLACED + GLUE, PLACED)
    )

    assert (inside[0] / inside[1]) / (outside[0] / outside[1]) == pytest.approx(2.0**SOFTENED)


def test_the_shops_history_multiplies_a_part():
    """A factor of five for one part raises its odds against another fivefold."""
    board = small(FOUR_PARTS)
    pair = [single("R1", "open"), single("Q1", "gain lost")]

    plain, known = prior(board, pair), prior(board, pair, factors={"Q1": 5.0})

    assert (known[1] / known[0]) / (plain[1] / plain[0]) == pytest.approx(5.0)


def test_two_faults_are_rarer_than_either():
    """A joint fault weighs the product, and never more than half its rarest fault."""
    board = every_kind(PLACED + GLUE)
    singles = suspects(board)
    weights = prior(board, singles)

    for (i, one), (j, other) in combinations(list(enumerate(singles))[::9], 2):
        joint = prior(board, [Suspect((*one.faults, *other.faults))])[0]
        assert joint <= 0.5 * min(weights[i], weights[j])


def test_parts_of_one_lot_fail_together():
    """The twin capacitor is the likelier second fault: same value, same rating."""
    board = small(TWIN_CAPS)
    one = PartFault("C1", "esr up")

    twin, other = prior(board, [Suspect((one, PartFault(name, "esr up"))) for name in ("C2", "C3")])

    assert twin == pytest.approx(5 * other)


def test_two_leaks_of_one_area_come_together():
    """The pair weighs five times the product of the two."""
    board = every_kind(PLACED + GLUE)
    leaks = [s for s in suspects(board) if isinstance(s.faults[0], Leak)][:2]
    one, other = prior(board, leaks)

    both = prior(board, [Suspect((leaks[0].faults[0], leaks[1].faults[0]))])[0]

    assert both == pytest.approx(5 * one * other)


def test_one_part_in_two_modes_is_no_joint_fault():
    """A resistor cannot be open and short at once."""
    assert prior(small(FOUR_PARTS), [Suspect((PartFault("R1", "open"), PartFault("R1", "short")))])[0] == 0.0


def test_keys_are_unique_and_words_name_the_place():
    """Every suspect has a key of its own; a leak says where it is."""
    board = every_kind(PLACED + GLUE)
    singles = suspects(board)

    assert len({s.key for s in singles}) == len(singles)
    assert HEALTHY.key == "healthy"
    assert Suspect((PartFault("C9", "short"), Leak("a", "b", "glue_1"))).words() == (
        "C9 short and leak between a and b in glue_1"
    )


def test_no_kind_is_a_hundred_times_rarer_than_another_by_slip():
    """Aged rates lie within 2.5 decades (our own bound: a missing zero would break it)."""
    rates = [row.per_million_hours("aged") for name, row in RATES.items() if name != "input"]

    assert max(rates) / min(rates) < 10**2.5


@pytest.mark.parametrize("factor", [-1.0, inf, float("nan")])
def test_an_impossible_factor_is_refused(factor):
    """A factor is a number of zero or more."""
    with pytest.raises(InputError, match="factor"):
        prior(small(FOUR_PARTS), [], factors={"R1": factor})


def test_an_unknown_table_and_an_impossible_share_are_refused():
    """Both are named in the sentence."""
    with pytest.raises(InputError, match="no table 'guess'"):
        base_rate(small(FOUR_PARTS).part("R1"), "guess")
    with pytest.raises(InputError, match="a share of -1"):
        voltage_stress("electrolytic", -1.0)
