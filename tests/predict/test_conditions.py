"""Noise before the volume control follows it, noise after it does not; a fuse goes by its own rating."""

import numpy as np
import pytest

from dustcap.board.read import parse_board
from dustcap.faults.suspects import Leak, PartFault
from dustcap.predict.checks import Check
from dustcap.predict.complaints import FUSE_BLOWS, HUM_V
from dustcap.predict.conditions import EARS_ERR, UNTOLD, control_of, follows
from dustcap.predict.predictor import Predictor

MAINS = """
layout = 1

[board]
name = "volume board"
revision = "A"

[parts]
F1 = { kind = "link", rating = "1 A", pins = ["raw+", "rail+"] }
C1 = { kind = "electrolytic", value = "2200 uF", voltage = "35 V", pins = ["rail+", "0V"] }
C2 = { kind = "electrolytic", value = "2200 uF", voltage = "35 V", pins = ["0V", "rail-"] }
R9 = { kind = "resistor", value = "220", pins = ["rail+", "0V"] }
J1 = { kind = "input", resistance = "50 ohm", pins = ["in", "0V"] }
R1 = { kind = "resistor", value = "10k", pins = ["in", "pre"] }
R2 = { kind = "resistor", value = "47k", pins = ["wiped", "plus"] }
R3 = { kind = "resistor", value = "22k", pins = ["out", "minus"] }
R4 = { kind = "resistor", value = "1k", pins = ["minus", "0V"] }

[parts.T1]
kind = "transformer"
volts = "18 V"
regulation = "8 %"
resistance = "0.3 ohm"
pins = { secondary = ["a", "0V", "b"] }
[parts.LS1]
kind = "driver"
role = "woofer"
resistance = "6 ohm"
bl = 6
compliance = "0.8 mm/N"
excursion = "4 mm"
pins = ["out", "0V"]
[parts.RV1]
kind = "potentiometer"
value = "10k"
pins = { end1 = "0V", wiper = "wiped", end2 = "pre" }
[parts.BR1]
kind = "bridge"
pins = { ac1 = "a", ac2 = "b", plus = "raw+", minus = "rail-" }
[parts.U1]
kind = "power amplifier"
pins = { plus = "plus", minus = "minus", out = "out", high = "rail+", low = "rail-" }

[places]
R1 = [5, 5]
R2 = [8, 5]
R9 = [8, 8]

[areas.glue]
kind = "residue"
outline = [[0, 0], [10, 0], [10, 10], [0, 10]]
"""


@pytest.fixture(scope="module")
def source():
    """Predictions of a mains board with a volume control."""
    return Predictor(parse_board(MAINS, "volume"), particles=8, seed=2)


def row(source, fault):
    """Number of a suspect."""
    return [s.faults for s in source.suspects].index((fault,))


def leak(source, *nets):
    """Number of the leak between two nets."""
    return next(
        i
        for i, s in enumerate(source.suspects)
        if s.faults and isinstance(s.faults[0], Leak) and {s.faults[0].a, s.faults[0].b} == set(nets)
    )


def test_the_control_is_found_by_what_it_does(source):
    """The one potentiometer takes more than ten decibels off the signal at the driver, and none off its input."""
    control = control_of(source.analyses)
    at = source.analyses.index

    assert control.up[at["out"]] - control.down[at["out"]] > 20
    assert control.up[at["in"]] - control.down[at["in"]] < 1


def test_hum_before_the_control_follows_it_and_hum_after_it_does_not(source):
    """Ripple that leaks into the input's side falls with the volume; leaking in behind 47 kohm after it, it stays."""
    chance = source.follows("hum", "woofer")
    before, after = leak(source, "rail+", "pre"), leak(source, "rail+", "plus")
    hums = np.abs(source.analyses.across(source.board.part("LS1"), source.analyses.powered(True).ripple)) > HUM_V

    assert hums[before, :4].any()
    assert hums[after, :4].any()
    assert chance[before, :4][hums[before, :4]].min() > 0.7
    assert chance[after, :4][hums[after, :4]].max() < 0.4


def test_crackle_goes_by_where_the_part_stands(source):
    """A part at the input follows the control, one at the amplifier does not, and the worn control itself does."""
    chance = source.follows("crackle", "")[:, 0]

    assert chance[row(source, PartFault("R1", "drifted high"))] == pytest.approx(1 - EARS_ERR)
    assert chance[row(source, PartFault("U1", "noisy"))] == pytest.approx(EARS_ERR)
    assert chance[row(source, PartFault("RV1", "noisy"))] == pytest.approx(1 - EARS_ERR)


def test_without_a_control_nothing_is_said():
    """A board with no potentiometer gives both words the same chance."""
    volume = 'kind = "potentiometer"\nvalue = "10k"\npins = { end1 = "0V", wiper = "wiped", end2 = "pre" }'
    assert volume in MAINS
    text = MAINS.replace(volume, 'kind = "resistor"\nvalue = "10k"\npins = ["pre", "wiped"]')
    source = Predictor(parse_board(text, "fixed"), particles=2, seed=2)

    assert np.all(follows(source.analyses, "hum") == UNTOLD)


def test_a_fuse_goes_by_its_own_rating(source):
    """A shorted capacitor behind the fuse draws amperes through it; one that dried out does not."""
    chance = source.heard("blows fuse", "")
    amperes = np.abs(source.readings(Check("dc volts", "raw+", "rail+", state="drivers connected")))
    shorted, dried = row(source, PartFault("C1", "short")), row(source, PartFault("C1", "capacity lost"))

    assert np.median(chance[shorted]) > 0.9
    assert chance[dried].max() < 0.1
    assert chance[0].max() < 0.1
    ohms = source.analyses.cases.own[
        "F1", "ohm"
    ]  # independent: the volts that a meter would read across it, over its ohms
    assert np.all((amperes[shorted] / ohms > FUSE_BLOWS) == (chance[shorted] > 0.5))
