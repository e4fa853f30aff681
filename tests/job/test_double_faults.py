"""Two hidden faults of the small board: following the advice, both are mended and the unit is then said to be well."""

import pytest
from cli.boards import SMALL

from dustcap.board.read import parse_board
from dustcap.hunt.findings import parse_findings
from dustcap.job.findings import document
from dustcap.job.hunt import Hunter
from dustcap.job.payloads import Complaint, Work
from dustcap.job.rehearse import check_of, rehearse

WORDS = ("no output", "weak output", "distorted", "hum", "cone pushed out")
STEPS = 24


def told(unit):
    """Every complaint of the list, heard or not."""
    return [
        Complaint.model_validate({"is": word, "driver": "LS1", "seen": unit.complains(word, "LS1")}) for word in WORDS
    ]


def works(advice):
    """The work that is advised, as entries."""
    done = [{"did": "replaced", "part": part} for part in advice["parts"]]
    if advice["area"]:
        done.append({"did": "cleaned", "area": advice["area"]})
    elif advice["between"]:
        done.append({"did": "cleaned", "between": advice["between"]})
    return [Work.model_validate(one) for one in done]


@pytest.mark.parametrize(
    ("faults", "severities"),
    [
        ([{"part": "V1", "mode": "no output"}, {"part": "U1", "mode": "dead"}], [0.7, 0.8]),
        ([{"part": "U1", "mode": "stuck high"}, {"leak": ["rail+", "minus"], "area": "glue"}], [0.1, 0.53]),
    ],
    ids=["dead rail behind a dead amplifier", "leak behind a stuck amplifier"],
)
def test_a_fault_behind_the_first_is_found_and_mended(faults, severities):
    """The first repair changes something and not all; the hunt leads on to the second fault and ends with done."""
    board = parse_board(SMALL)
    unit, hunter = rehearse(board, faults, severities, seed=11), Hunter(board)
    entries = told(unit)
    for _ in range(STEPS):
        answer = hunter.ask(parse_findings(document(entries), "entries", hunter.known)).document
        advice = answer["advice"]
        if advice["do"] == "check":
            entries.append(unit.answer(check_of(answer["next"][0])))
        elif advice["do"] in ("replace", "clean"):
            for work in works(advice):
                unit.work_done(work)
                entries.append(work)
            entries += told(unit)
        else:
            break

    assert advice["do"] == "done"
    assert unit.cured
