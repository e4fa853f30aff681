"""The command `compare`: what changed from one revision to the next, and what reads differently."""

import pytest
from cli.boards import SMALL, changed

from dustcap.job.compare import apart
from dustcap.predict.sheet import Range


@pytest.fixture
def boards(tmp_path):
    """The small board, and one with other rails, a part more, a part less, another value."""
    newer = changed('revision = "A"', 'revision = "C"')
    newer = newer.replace('value = "24 V", pins = ["rail+"', 'value = "20 V", pins = ["rail+"')
    newer = newer.replace('R4 = { kind = "resistor", value = "1k"', 'R4 = { kind = "resistor", value = "2k2"')
    newer = newer.replace(
        'C2 = { kind = "electrolytic", value = "1000 uF", voltage = "35 V", pins = ["0V", "rail-"] }',
        'C3 = { kind = "electrolytic", value = "470 uF", voltage = "35 V", pins = ["0V", "rail-"] }',
    )
    files = [tmp_path / name for name in ("a.board.toml", "c.board.toml")]
    for file, text in zip(files, (SMALL, newer), strict=True):
        file.write_text(text)
    return files


def test_parts_and_readings_that_changed_are_listed(run, boards):
    """Derived: rail+ 24 V, now 20 V, both +-2 %; gain 23, now 11; `minus` to common about 23 k beside 1 k, now 2k2."""
    ran = run("compare", *boards, "--json")

    assert ran.code == 0, ran.err
    document = ran.json
    assert [one["name"] for one in document["parts"]["added"]] == ["C3"]
    assert [one["name"] for one in document["parts"]["gone"]] == ["C2"]
    assert {(one["name"], one["key"]) for one in document["parts"]["changed"]} == {("V1", "value"), ("R4", "value")}
    readings = {(one["check"], one["at"]): one for one in document["readings"]}
    assert set(readings) == {("dc volts", "rail+"), ("level", "out"), ("ohms", "minus")}
    assert readings["dc volts", "rail+"]["old"]["median"] == pytest.approx(24, rel=0.01)
    assert readings["dc volts", "rail+"]["new"]["median"] == pytest.approx(20, rel=0.01)
    assert readings["level", "out"]["new"]["median"] == pytest.approx(0.686 * 0.1 * 11, rel=0.02)


def test_what_parts_take_is_compared_too(run, boards):
    """Derived: rail+ 24 V, now 20 V, on C1 of 35 V: 69 %, now 57 %; a part whose watts moved within its spread is not
    listed."""
    listed = run("compare", *boards, "--json").json["part_readings"]

    (share,) = [one for one in listed if one["at"] == "C1" and one["check"] == "share of rating"]
    assert share["old"]["median"] == pytest.approx(24 / 35, rel=0.02)
    assert share["new"]["median"] == pytest.approx(20 / 35, rel=0.02)
    assert all(one["old"]["high"] < one["new"]["low"] or one["new"]["high"] < one["old"]["low"] for one in listed)


def test_a_board_does_not_differ_from_itself(run, boards):
    """No part, no reading."""
    document = run("compare", boards[0], boards[0], "--json").json

    assert document["parts"] == {"added": [], "gone": [], "changed": []}
    assert document["readings"] == []
    assert "no difference" in run("compare", boards[0], boards[0]).out


def test_the_text_names_old_and_new(run, boards):
    """As a technician says it."""
    out = run("compare", *boards).out

    assert "R4 value: 1 kΩ, now 2.2 kΩ" in out
    assert "C3 added" in out
    assert "24 V" in out


@pytest.mark.parametrize(
    ("one", "other", "differ"),
    [
        (Range(1.0, 2.0, 3.0), Range(3.1, 4.0, 5.0), True),
        (Range(1.0, 2.0, 3.0), Range(2.9, 4.0, 5.0), False),
        (Range(1.0, 2.0, 3.0), Range(3.0005, 4.0, 5.0), False),
        (Range(1.0, 2.0, float("inf"), 0.3), Range(5.0, 6.0, 7.0), False),
        (Range(1.0, 2.0, 3.0), Range(float("inf"), float("inf"), float("inf"), 1.0), True),
        (Range(1.0, 2.0, 3.0), None, True),
        (None, None, False),
    ],
)
def test_ranges_differ_when_they_do_not_touch(one, other, differ):
    """Apart by more than a meter shows, either way round; over range lies above every number."""
    assert apart(one, other, 1e-3) is differ
    assert apart(other, one, 1e-3) is differ


def test_a_wrong_board_is_refused_whichever_it_is(refused, boards, tmp_path):
    """Exit 2, one line with the file's name."""
    bad = tmp_path / "bad.board.toml"
    bad.write_text(changed('"10k"', '"10 uF"'))

    refused("compare", bad, boards[0], code=2, says=["bad.board.toml", "R1"])
    refused("compare", boards[0], bad, code=2, says=["bad.board.toml", "R1"])
    refused("compare", boards[0], code=2, says="BOARD")
