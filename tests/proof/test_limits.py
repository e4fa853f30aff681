"""Reading limits."""

from __future__ import annotations

import re

import pytest

from dustcap.errors import InputError
from dustcap.proof.limits import QUANTITIES, default_limits, read_limits

HUM = 'layout = 1\n[limits.hum]\nvalue = -60\nunit = "dB"\nsource = "ours"\n'
PAIR = 'layout = 1\n[limits."pair level"]\nvalue = 0.5\nunit = "dB"\nlow_hz = 250\nhigh_hz = 2000\nsource = "x"\n'


def test_the_limits_that_come_along_are_complete():
    """Every quantity has a limit, each with a source; those not read in the standard say so."""
    limits = default_limits()

    assert limits.keys() == QUANTITIES.keys()
    for limit in limits.values():
        assert limit.source
        if "EBU" in limit.source or "BS.1116" in limit.source:
            assert "from memory" in limit.source


def test_a_shop_may_have_its_own():
    """A file may hold some limits only; values come back as numbers with the quantity's side."""
    limit = read_limits(HUM)["hum"]

    assert (limit.value, limit.unit, limit.better, limit.source) == (-60.0, "dB", "below", "ours")
    assert read_limits(PAIR)["pair level"].high_hz == 2000.0


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("layout = = 1\n", "not TOML.*line 1"),
        ("[limits.hum]\n", "layout is None"),
        ("layout = 2\n", "layout is 2"),
        ("layout = 1\n", "something else than limits"),
        (HUM + "[other]\n", "something else than limits"),
        (HUM.replace("hum", "humm"), "nothing called 'humm' is judged.*hum"),
        ("layout = 1\n[limits]\nhum = -60\n", "no table"),
        (HUM.replace('"dB"', '"V"'), "unit is 'V'.*unit = \"dB\""),
        (HUM.replace('unit = "dB"\n', ""), "unit is None"),
        (HUM.replace('source = "ours"\n', ""), "no source"),
        (HUM.replace('"ours"', '"  "'), "no source"),
        (HUM.replace("-60", '"-60 dB"'), "is no number"),
        (HUM.replace("-60", "nan"), "is no number"),
        (HUM.replace("-60", "true"), "is no number"),
        (HUM + "limit = 3\n", "no key 'limit'"),
        (PAIR.replace("low_hz = 250", "low_hz = 2500"), "runs from 2500 to 2000 Hz"),
        (PAIR.replace("low_hz = 250\n", ""), "low_hz: None is no number"),
        (PAIR.replace("0.5", "-0.5"), "nothing between minus and plus"),
    ],
)
def test_a_wrong_text_is_refused_with_its_place(text, says):
    """One sentence says what is wrong and where, and what would be right."""
    with pytest.raises(InputError) as why:
        read_limits(text, "shop.toml")

    assert re.search(says, str(why.value), re.DOTALL)
    assert str(why.value).startswith("shop.toml")
    assert why.value.mend
