"""Sightings: words exclude each other, and tell what makers and benches say they tell."""

import pytest
from faults.boards import GLUE, PLACED, every_kind

from dustcap.errors import InputError
from dustcap.faults.sighting import WORDS, seen
from dustcap.faults.suspects import HEALTHY, Leak, PartFault, Suspect, suspects

BOARD = every_kind(PLACED + GLUE)
EVERY = (HEALTHY, *suspects(BOARD))


@pytest.mark.parametrize("target", [*BOARD.parts, "glue_1"])
def test_the_words_of_a_look_exclude_each_other(target):
    """Under every suspect the probabilities of all words add up to one, and none is zero."""
    for suspect in EVERY:
        words = [seen(BOARD, suspect, target, word) for word in WORDS]
        assert sum(words) == pytest.approx(1.0, abs=1e-12)
        assert min(words) > 0.0015


def ratio(word, part, mode, against=HEALTHY):
    return seen(BOARD, Suspect((PartFault(part, mode),)), part, word) / seen(BOARD, against, part, word)


@pytest.mark.parametrize(
    ("word", "part", "mode", "least"),
    [
        ("bulged", "C9", "short", 10),  # a domed top belongs to electrolytics (makers' texts on the vent)
        ("bulged", "C9", "esr up", 10),
        ("leaking", "C9", "leaky", 5),
        ("scorched", "R5", "open", 10),
        ("scorched", "U2", "supply short", 10),
        ("cracked", "J1", "open", 20),
        ("scorched", "F1", "open", 20),
    ],
)
def test_a_telling_sight_speaks_for_its_mode(word, part, mode, least):
    """The likelihood ratio against a good part is large (common practice: the direction, not the number)."""
    assert ratio(word, part, mode) >= least


def test_a_dry_capacitor_often_looks_perfect():
    """A clean one speaks only weakly against a dried-out part (from memory: most look good)."""
    assert 0.4 < ratio("clean", "C9", "capacity lost") < 1.0


def test_another_parts_fault_shows_nothing_here():
    """A fault elsewhere leaves this part looking as on a good board."""
    other = Suspect((PartFault("R5", "open"),))

    assert seen(BOARD, other, "C10", "bulged") == seen(BOARD, HEALTHY, "C10", "bulged")


def test_residue_in_its_area_speaks_for_a_leak_there():
    """More than for a good board, and weakly: the area was marked because residue was seen."""
    leak = Suspect((Leak("line", "wf_fb", "glue_1"),))

    assert 1.2 < seen(BOARD, leak, "glue_1", "residue") / seen(BOARD, HEALTHY, "glue_1", "residue") < 3
    assert seen(BOARD, leak, "U3", "residue") > seen(BOARD, HEALTHY, "U3", "residue")


def test_residue_on_an_unplaced_part_speaks_for_a_leak_between_its_nets():
    """R3 lies between both nets of the leak and in no marked area."""
    leak = Suspect((Leak("line", "fb"),))

    assert seen(BOARD, leak, "R3", "residue") / seen(BOARD, HEALTHY, "R3", "residue") > 5
    assert seen(BOARD, leak, "R4", "residue") == seen(BOARD, HEALTHY, "R4", "residue")


def test_residue_on_a_part_of_a_residue_area_clears_no_part():
    """The marked area explains the residue, so that it does not speak against the part's own fault."""
    assert ratio("residue", "U3", "dead") == pytest.approx(1.0)


def test_unknown_words_and_places_are_refused():
    """Both are named in the sentence."""
    with pytest.raises(InputError, match="no sighting 'odd'"):
        seen(BOARD, HEALTHY, "C9", "odd")
    with pytest.raises(InputError, match="no part or area 'C99'"):
        seen(BOARD, HEALTHY, "C99", "clean")
