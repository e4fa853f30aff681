"""Halves of one package are changed together."""

from dustcap.demo.boards import model_27
from dustcap.hunt.evidence import Complaint, Evidence, Work
from dustcap.hunt.packages import halves_of, with_halves

HALVES = {"U4A": ("U4B",), "U4B": ("U4A",)}


def test_halves_of_the_demo_boards():
    """Two amplifiers of one name and one pair of rails are one package; a single one is alone."""
    found = halves_of(model_27("C"))
    assert found["U3A"] == ("U3B",)
    assert found["U3B"] == ("U3A",)
    assert "U4B" not in found


def test_work_on_one_half_is_work_on_the_other():
    """A new U4A brings a new U4B; cleaning does not; and no half is counted twice."""
    hum = Complaint("hum")
    one, both = Work("replaced", part="U4A"), (Work("replaced", part="U4A"), Work("replaced", part="U4B"))
    assert with_halves(Evidence((hum, one, hum)), HALVES).entries == (hum, *both, hum)
    assert with_halves(Evidence((hum, *both)), HALVES).entries == (hum, *both)
    cleaned = Evidence((Work("cleaned", part="U4A"), Work("replaced", part="R1")))
    assert with_halves(cleaned, HALVES) == cleaned
