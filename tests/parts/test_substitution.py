"""Substitution: what fits comes first, what bears on safety is never traded away."""

import pytest

from dustcap.errors import InputError
from dustcap.parts.substitution import Item, substitutes

OLD = Item("C9", "electrolytic", 1000e-6, 35.0, rated_c=105, life_h=2000, ripple_a=1.0, diameter_m=13e-3, pitch_m=5e-3)


def can(name, farad=1000e-6, rated_v=35.0, **others):
    known = {"rated_c": 105, "life_h": 5000, "ripple_a": 1.5, "diameter_m": 12.5e-3, "pitch_m": 5e-3}
    return Item(name, "electrolytic", farad, rated_v, **{**known, **others})


@pytest.mark.parametrize(
    ("item", "says"),
    [
        # each rating of the old part is a bound of its own (product rule: no rating falls)
        (can("less volts", rated_v=25.0), "rated voltage 25 V"),
        (can("cooler", rated_c=85), "rated temperature 85 °C"),
        (can("too fat", diameter_m=16e-3), "diameter 16 mm"),
        (can("less ripple", ripple_a=0.8), "ripple current 800 mA"),
        (can("unknown ripple", ripple_a=float("nan")), "ripple current not known"),
        (can("too large", farad=2200e-6), "value 2200 µF"),
        (can("too small", farad=680e-6), "value 680 µF"),
        (can("wide", pitch_m=7.5e-3), "lead spacing 7.5 mm"),
    ],
)
def test_a_lesser_capacitor_does_not_fit(item, says):
    """Each shortfall is named with both figures, and nothing else is."""
    (fit,) = substitutes(OLD, [item])

    assert not fit.fits
    assert len(fit.against) == 1
    assert says in fit.against[0]


def test_the_closest_fitting_part_comes_first():
    """Parts that fit come before those that do not, the closest value first, the longer life at equal value."""
    stock = [can("low", rated_v=25.0), can("more", 1200e-6), can("same"), can("lasting", life_h=10_000)]

    names = [fit.item.name for fit in substitutes(OLD, stock)]

    assert names == ["lasting", "same", "more", "low"]


def test_a_shorter_life_and_far_more_volts_are_noted():
    """Both fit and carry a note."""
    (fit,) = substitutes(OLD, [can("C", rated_v=100.0, life_h=1000)])

    assert fit.fits
    assert len(fit.notes) == 2


def mains(name, safety):
    return Item(name, "capacitor", 100e-9, 275.0, safety=safety)


@pytest.mark.parametrize(
    ("old", "new", "fits"),
    [
        ("X2", "X2", True),
        ("X2", "X1", True),
        ("X1", "X2", False),
        ("Y2", "Y1", True),
        ("Y2", "X1", False),
        ("X2", "", False),
    ],
)
def test_a_mains_capacitor_keeps_its_class(old, new, fits):
    """The same class or a better one of the same letter (IEC 60384-14, from memory), never another letter or none."""
    (got,) = substitutes(mains("C1", old), [mains("C2", new)])

    assert got.fits is fits


def test_a_flameproof_resistor_stays_flameproof_and_keeps_its_watts():
    """Neither an ordinary one nor a smaller one may replace it."""
    old = Item("R1", "resistor", 10.0, watt=1.0, safety="flameproof")
    stock = [
        Item("plain", "resistor", 10.0, watt=2.0),
        Item("small", "resistor", 10.0, watt=0.5, safety="flameproof"),
        Item("right", "resistor", 10.0, watt=2.0, safety="flameproof"),
    ]

    assert {fit.item.name: fit.fits for fit in substitutes(old, stock)} == {
        "plain": False,
        "small": False,
        "right": True,
    }


def test_a_fuse_keeps_rating_and_type():
    """Not even a slightly stronger fuse, nor another speed."""
    old = Item("F1", "fuse", 2.0, 250.0, safety="T")
    stock = [Item("a", "fuse", 2.5, 250.0, safety="T"), Item("b", "fuse", 2.0, 250.0, safety="F")]

    assert not any(fit.fits for fit in substitutes(old, stock))
    assert substitutes(old, [Item("c", "fuse", 2.0, 250.0, safety="T")])[0].fits


def test_a_film_capacitor_is_not_replaced_by_a_lossy_ceramic():
    """A stable dielectric stays stable."""
    old = Item("C1", "capacitor", 10e-9, 63.0, dielectric="film")
    stock = [Item("k", "capacitor", 10e-9, 100.0, dielectric=kind) for kind in ("x7r", "c0g")]

    assert [fit.fits for fit in substitutes(old, stock)] == [True, False]


def test_other_kinds_are_not_offered_and_unknown_ones_refused():
    """A resistor is no capacitor; a kind without rules is refused."""
    assert substitutes(OLD, [Item("R", "resistor", 1e3)]) == ()
    with pytest.raises(InputError, match="'valve'"):
        Item("V1", "valve", 1.0)
