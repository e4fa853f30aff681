"""A wrong board description is refused with file and line wherever it is given, and nothing is kept."""

import pytest
from cli.boards import SMALL, changed

BAD = {
    "empty": ("", "empty"),
    "blank": ("  \n\n", "layout"),
    "not utf-8": (SMALL.encode("utf-16"), "UTF-8"),
    "latin-1": (changed("small board", "Prüfling").encode("latin-1"), "UTF-8"),
    "10 MB": (SMALL + "# padding\n" * 1_000_000, "larger than"),
    "not toml": (changed('kind = "input"', "kind = = input"), ":10"),
    "binary": (bytes(range(256)) * 64, "UTF-8"),
    "no layout": (changed("layout = 1\n", ""), "layout"),
    "other layout": (changed("layout = 1", "layout = 2"), "layout"),
    "unknown table": (SMALL + "\n[notes]\nx = 1\n", "notes"),
    "unknown kind": (changed('"resistor"', '"resistr"'), "resistor"),
    "unknown key": (changed('value = "10k"', 'ohms = "10k"'), "ohms"),
    "unit mix-up": (changed('"10k"', '"10 uF"'), "R1"),
    "volts for farads": (changed('"1000 uF"', '"35 V"'), "C1"),
    "not a number": (changed('"10k"', "nan"), "R1"),
    "infinite": (changed('"10k"', "inf"), "R1"),
    "negative": (changed('"10k"', '"-10k"'), "R1"),
    "zero": (changed('"1000 uF"', "0"), "C1"),
    "one pin": (changed('["in", "plus"]', '["in"]'), "R1"),
    "unknown pin": (changed("plus = ", "pluss = "), "U1"),
    "twice": (changed("R2 = {", "R1 = {"), "R1"),
    "unknown place": (SMALL + "R99 = [1, 1]\n", "R99"),
    "area of two points": (changed("[10, 0], [10, 10], [0, 10]", "[10, 0]"), "glue"),
    "unknown block": (SMALL + '\n[blocks.x]\nfrom = "no such block"\n', "no such block"),
    "deep nesting": (SMALL + "\n[deep]\nx = " + "[" * 5000 + "]" * 5000 + "\n", "deep"),
}


@pytest.mark.parametrize("name", BAD)
def test_a_wrong_description_is_refused_with_its_place(refused, tmp_path, name):
    """Exit 2, file and line or key, what was read; checking, hunting and taking in all say so."""
    text, says = BAD[name]
    file = tmp_path / "bad.board.toml"
    file.write_bytes(text if isinstance(text, bytes) else text.encode())

    refused("board", file, code=2, says=["bad.board.toml", says])
    refused("board", file, "--json", code=2, says=["bad.board.toml", says])
    refused("intake", "--model", "m", "--unit", "u", "--board", file, code=2, says=["bad.board.toml", says])


@pytest.mark.parametrize("words", [("board",), ("intake", "--model", "m", "--unit", "u", "--board")])
def test_a_missing_file_or_a_folder_is_refused(refused, tmp_path, words):
    """A file that is not there, or is no file."""
    refused(*words, tmp_path / "none.board.toml", code=2, says="none.board.toml")
    refused(*words, tmp_path, code=2, says="cannot be read")


def test_a_good_description_is_summed_up(run, tmp_path):
    """Parts, nets, kinds and drivers are counted as they stand in the file."""
    file = tmp_path / "small.board.toml"
    file.write_text(SMALL)

    ran = run("board", file, "--json")

    assert (ran.code, ran.err) == (0, "")
    assert (ran.json["board"], ran.json["revision"], ran.json["parts"], ran.json["nets"]) == ("small board", "A", 11, 7)
    assert ran.json["kinds"]["resistor"] == 4
    assert ran.json["drivers"] == ["LS1"]
    assert "11 parts on 7 nets" in run("board", file).out


def test_the_intake_of_another_revision_is_refused(refused, tmp_path):
    """A unit of revision B does not go with the description of revision A."""
    file = tmp_path / "small.board.toml"
    file.write_text(SMALL)

    words = ("intake", "--model", "m", "--unit", "u", "--board", file, "--revision", "B")
    refused(*words, code=2, says=["revision 'B'", "'A'"])


def test_the_smallest_board_is_hunted(run, tmp_path):
    """One resistor without a driver: its modes are the suspects, and reading it tells them apart."""
    file = tmp_path / "one.board.toml"
    file.write_text('layout = 1\n[parts]\nR1 = { kind = "resistor", value = "10k", pins = ["a", "0V"] }\n')

    ran = run("hunt", file, "--json")

    assert ran.code == 0
    assert {row["parts"][0]["mode"] for row in ran.json["suspects"]} == {"open", "drifted high", "short"}
    assert ran.json["next"][0]["check"] == "ohms"


def test_a_board_without_parts_cannot_be_computed(refused, tmp_path):
    """The description reads, but there is nothing on it."""
    file = tmp_path / "bare.board.toml"
    file.write_text("layout = 1\n")

    refused("hunt", file, code=2, says="no parts")
