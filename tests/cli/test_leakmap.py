"""The command `leakmap`: the document of the contract, the text, the picture, bad input."""

from xml.etree import ElementTree

import pytest
from cli.boards import SMALL, changed


@pytest.fixture
def board(tmp_path):
    file = tmp_path / "small.board.toml"
    file.write_text(SMALL)
    return file


def test_the_document_holds_the_keys_of_the_contract(run, board):
    """Every pair with its limits; a critical resistance is a number above 0 or null."""
    ran = run("leakmap", board, "--json")

    assert ran.code == 0, ran.err
    document = ran.json
    assert document["layout"] == 1
    assert ["minus", "out"] in [pair["nets"] for pair in document["pairs"]]
    for pair in document["pairs"]:
        assert set(pair) >= {"nets", "neighbours", "limits"}
        whats = [limit["what"] for limit in pair["limits"]]
        assert {"dc at driver", "oscillation"} <= set(whats)
        for limit in pair["limits"]:
            assert limit["critical_ohms"] is None or limit["critical_ohms"] > 0
        (dc,) = [limit for limit in pair["limits"] if limit["what"] == "dc at driver"]
        assert (dc["driver"], dc["limit"], dc["unit"]) == ("LS1", 0.05, "V")


def test_one_pair_is_mapped_alone(run, board):
    """Derived: without a leak 200 nA through 10 k || 22 k times 23, less 200 nA through 22 k, put the output at
    -27.2 mV; the leak adds -24 V x 22 k / R: 50 mV at 23.2 Mohm, 100 mV at 7.25 Mohm.
    """
    found = [
        run("leakmap", board, "--pair", "rail+", "minus", *more, "--json").json["pairs"]
        for more in ([], ["--dc-limit", "100 mV"])
    ]

    ohms = [pairs[0]["limits"][0]["critical_ohms"] for pairs in found]
    assert [len(pairs) for pairs in found] == [1, 1]
    assert ohms[0] == pytest.approx(23.2e6, rel=0.01)
    assert ohms[1] == pytest.approx(7.25e6, rel=0.01)


def test_the_text_says_that_it_is_a_lower_bound(run, board):
    """With the pair, the reading and what breaks."""
    out = run("leakmap", board, "--pair", "rail+", "minus").out

    assert "lower bound" in out
    assert "rail+ - minus" in out
    assert "d.c. at LS1" in out


def test_the_picture_shades_the_area_and_writes_the_reading(run, board, tmp_path):
    """Well-formed, the area named, the critical reading on it, the same bytes again."""
    pictures = [tmp_path / name for name in ("one.svg", "two.svg")]
    for picture in pictures:
        assert run("leakmap", board, "--picture", picture).code == 0

    text = pictures[0].read_text()
    ElementTree.fromstring(text)
    assert "glue" in text
    assert "≤" in text
    assert pictures[1].read_text() == text


def test_a_picture_of_a_board_without_places_is_a_list(run, tmp_path):
    """Neighbours at the amplifier's pins are known without places."""
    file = tmp_path / "bare.board.toml"
    file.write_text(SMALL[: SMALL.index("[areas.glue]")])

    assert run("leakmap", file, "--picture", tmp_path / "p.svg").code == 0
    ElementTree.fromstring((tmp_path / "p.svg").read_text())


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--pair", "rail+", "nowhere"], ["nowhere", "Nets"]),
        (["--pair", "out", "out"], ["--pair"]),
        (["--pair", "out"], ["pair"]),
        (["--dc-limit", "loud"], ["--dc-limit"]),
        (["--dc-limit", "0 V"], ["limit"]),
        (["--picture", "map.png"], [".svg"]),
    ],
)
def test_a_wrong_option_is_refused(refused, board, words, says):
    """One line, exit 2, nothing written."""
    refused("leakmap", board, *words, code=2, says=says)


def test_a_wrong_board_is_refused(refused, tmp_path):
    """With file and line; a board that says nothing of neighbours asks for a pair."""
    file = tmp_path / "bad.board.toml"
    file.write_text(changed('"10k"', '"10 uF"'))
    refused("leakmap", file, code=2, says=["bad.board.toml", "R1"])

    file.write_text(
        'layout = 1\n[board]\nname = "b"\n[parts]\nV1 = { kind = "supply", value = "9 V", pins = ["p", "0V"] }\n'
        'R1 = { kind = "resistor", value = "1k", pins = ["p", "0V"] }\n'
    )
    refused("leakmap", file, code=2, says=["neighbours", "--pair"])
