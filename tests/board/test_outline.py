"""The outline of a loudspeaker that nobody described, and its plain names on boards that are described."""

from __future__ import annotations

import numpy as np
import pytest

from dustcap.board.circuit import to_circuit
from dustcap.board.library.load import built_in
from dustcap.board.outline import AMPLIFIERS, DRIVERS, FOUND_AT, MAY_BE, TOLD_AS, outline_board, roles_of, widened
from dustcap.board.tolerances import groups_of, tolerances, values_at
from dustcap.circuit.floating import check_floating
from dustcap.demo.boards import model_27
from dustcap.hunt.board_names import known_of


def test_every_plain_name_is_on_the_outline_under_its_own_name() -> None:
    """The outline can be solved, and every name that a technician may use is a net or a part of it."""
    board = outline_board()
    check_floating(to_circuit(board))
    assert roles_of(board) == {name: name for name in (*FOUND_AT, *AMPLIFIERS)}
    assert set(DRIVERS) <= set(board.parts)


def test_every_part_of_the_outline_is_in_a_block_that_is_one_of_the_library() -> None:
    """Nothing on the outline is left out of its blocks, and each may be a block that can be described."""
    board = outline_board()
    assert all(part.block for part in board.parts.values())
    assert {word for kinds in MAY_BE.values() for word in kinds} <= set(built_in())
    assert set(MAY_BE) == set(board.blocks) - {*TOLD_AS, *DRIVERS}


@pytest.mark.parametrize("revision", ["A", "C"])
def test_plain_names_find_their_nets_on_a_described_board(revision: str) -> None:
    """The rails, the outputs and the volume control are found by what the parts do."""
    board = model_27(revision)
    roles = roles_of(board)
    assert set(roles) <= {*FOUND_AT, *AMPLIFIERS}
    assert {roles[name] for name in roles} <= {*board.nets, *board.parts}
    for driver in DRIVERS:
        speaker = next(part for part in board.of_kind("driver") if part.values["role"] == driver)
        amplifier = board.parts[roles[f"{driver} amplifier"]]
        assert roles[f"{driver} terminals"] in speaker.nets
        assert roles[f"{driver} amplifier output"] == amplifier.pins["out"]
        assert amplifier.name == {"woofer": "U8", "tweeter": "U9"}[driver] if revision == "C" else True
    known = known_of(board)
    assert known.plain["plus rail"] == "rail+"
    assert known.plain["volume wiper"] == "wiper"
    assert not known.unplaced & known.plain.keys()


def test_what_was_chosen_together_varies_together_and_widely() -> None:
    """Both small rails and both reservoirs go together; the rails span many volts."""
    board = outline_board()
    wide = tuple(widened(board, tolerances(board)))
    values = values_at(wide, np.random.default_rng(1).uniform(size=(len(groups_of(wide)), 200)))
    plus = values["small rails-U1", "volts"]
    np.testing.assert_allclose(plus, -values["small rails-U2", "volts"])
    np.testing.assert_allclose(values["C1", "farad"], values["C2", "farad"])
    assert np.ptp(plus) > 5.0
    assert np.ptp(values["T1", "volts_rms"]) > 10.0
