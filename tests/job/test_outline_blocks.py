"""Faults of a board that the outline does not know: the block that each is in comes out first, or nearly."""

from __future__ import annotations

import pytest

from dustcap.board.outline import outline_board, roles_of
from dustcap.demo.boards import model_27
from dustcap.hunt.findings import parse_findings
from dustcap.hunt.memory import Settled
from dustcap.hunt.posterior import posterior
from dustcap.job.findings import document
from dustcap.job.outline import block_groups, outline_names
from dustcap.job.payloads import Reading
from dustcap.job.rehearse import rehearse
from dustcap.predict.checks import DEFAULT_SIGNAL_HZ, Check
from dustcap.predict.outline import OutlinePredictor

FAULTS = (
    ("F1", "open", "supply"),
    ("U1", "no output", "small rails"),
    ("RV1", "wiper open", "volume"),
    ("U7A", "stuck low", "woofer crossover"),
    ("U8", "stuck high", "woofer amplifier"),
    ("C81", "short", "muting"),
)
READ = ("dc volts", "ac volts", "ohms")


@pytest.fixture(scope="module")
def blocks():
    """Predictions on the outline itself, with few samples."""
    return Settled(OutlinePredictor(outline_board(), particles=2, seed=27))


def test_faults_of_a_board_that_the_outline_does_not_know_are_found_in_their_block(blocks):
    """Units of model 27 C, read at every place that needs no description."""
    outline, board = outline_board(), model_27("C")
    known, roles = outline_names(outline), roles_of(board)
    names, groups = block_groups(outline, blocks.suspects)
    ranks = []
    for number, (part, mode, block) in enumerate(FAULTS):
        unit = rehearse(board, [{"part": part, "mode": mode}], [0.5], seed=number)
        payloads = []
        for check in blocks.candidates():
            if check.kind in READ and check.signal_hz == DEFAULT_SIGNAL_HZ:
                at, against = (roles.get(net, net) for net in (check.at, check.against))
                shown = unit.read(Check(check.kind, at, against, signal_hz=check.signal_hz)).plain()
                signal = {"signal": f"{check.signal_hz:g} Hz 100 mV"} if check.kind == "ac volts" else {}
                words = shown | {"at": check.at, "against": check.against} | signal
                payloads.append(Reading.model_validate(words))
        found = posterior(blocks, parse_findings(document(payloads), "unit", known))
        mass = groups.mass(found.mass.sum(axis=1))[1:-1]
        ranks.append(int((mass > mass[names.index(block) - 1]).sum()))

    assert sum(rank == 0 for rank in ranks) >= 0.7 * len(FAULTS), ranks
    assert sum(rank < 3 for rank in ranks) >= 0.9 * len(FAULTS), ranks
