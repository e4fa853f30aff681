"""The command `sheet`: the document of the contract, the text, bad input."""

import pytest
from cli.boards import SMALL, changed

FIGURE = {"low", "median", "high"}


@pytest.fixture
def board(tmp_path):
    file = tmp_path / "small.board.toml"
    file.write_text(SMALL)
    return file


def test_the_document_holds_the_keys_of_the_contract(run, board):
    """Every net with five figures, every part with three; each figure low, median and high in order."""
    ran = run("sheet", board, "--json")

    assert ran.code == 0, ran.err
    document = ran.json
    assert document["layout"] == 1
    assert set(document["nets"]) == {"rail+", "rail-", "in", "plus", "minus", "out"}
    for net in document["nets"].values():
        assert {"dc_volts", "ohms_red_here", "ohms_black_here", "ripple", "level"} <= set(net)
        for figure in net.values():
            assert set(figure) >= FIGURE
            if "over" not in figure:
                assert figure["low"] <= figure["median"] <= figure["high"]
    assert set(document["parts"]) >= {"R1", "C1", "U1", "LS1"}
    for part in document["parts"].values():
        assert {"volts", "watts", "share_of_rating"} <= set(part)


def test_the_signal_is_the_one_that_was_asked_for(run, board):
    """Twice the signal, twice the level; derived: 22 k / 32.05 k x 23 = 15.79 for one volt."""
    one = run("sheet", board, "--json").json["nets"]["out"]["level"]["median"]
    two = run("sheet", board, "--signal", "400 Hz 0.2 V", "--json").json

    assert one == pytest.approx(1.579, rel=0.02)
    assert two["nets"]["out"]["level"]["median"] == pytest.approx(2 * one, rel=1e-3)
    assert (two["signal_hz"], two["signal_v"]) == (400.0, 0.2)


def test_the_checks_worth_making_first_begin_with_the_plug_out(run, board):
    """Unplugged before powered; d.c. is read before a driver is connected."""
    checks = run("sheet", board, "--json").json["first_checks"]

    states = [check["state"] for check in checks]
    assert states == sorted(states, key=["unplugged", "drivers disconnected"].index)
    assert ("dc volts", "out") in {(check["check"], check["at"]) for check in checks}


def test_the_text_carries_figures_and_cautions(run, board):
    """Rail volts with their unit, the cautions, no stray digits of nothing."""
    ran = run("sheet", board)

    assert ran.code == 0
    assert "24 V" in ran.out
    assert "local codes" in ran.out
    assert "0.000000" not in ran.out


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--signal", "loud"], ["signal", "1 kHz 100 mV"]),
        (["--signal", "1 kHz"], ["signal"]),
        (["--signal", "0 Hz 1 V"], ["signal"]),
        (["--pdf", "sheet.doc"], [".pdf"]),
    ],
)
def test_a_wrong_option_is_refused(refused, board, words, says):
    """One line, exit 2, nothing written."""
    refused("sheet", board, *words, code=2, says=says)


def test_a_wrong_board_is_refused(refused, tmp_path):
    """With file and line."""
    file = tmp_path / "bad.board.toml"
    file.write_text(changed('"10k"', '"10 uF"'))

    refused("sheet", file, code=2, says=["bad.board.toml", "R1"])
    refused("sheet", tmp_path / "none.board.toml", code=2, says="none.board.toml")


def test_switch_on_is_followed_where_it_is_asked_for(run, board):
    """The driver's thump and its cone are in the document and in the text, and not without being asked."""
    ran = run("sheet", board, "--power-up", "--json")

    assert ran.code == 0, ran.err
    found = ran.json["power_up"]
    assert set(found) == {"seconds", "samples", "inrush_a", "unmute_s", "thump_v", "cone_m", "excursion"}
    assert set(found["thump_v"]) == set(found["cone_m"]) == {"LS1"}
    assert found["thump_v"]["LS1"]["low"] <= found["thump_v"]["LS1"]["high"]
    assert "power_up" not in run("sheet", board, "--json").json
