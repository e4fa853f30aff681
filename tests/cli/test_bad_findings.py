"""A wrong findings file is refused with file and line, before anything is computed."""

import pytest
from cli.boards import SMALL
from job.outlines import SMALL_OUTLINE

READING = '[[reading]]\ncheck = "dc volts"\nat = "out"\nvalue = "-23.8 V"\n'


def findings(text):
    """A findings file with this after its layout."""
    return f"layout = 1\n\n{text}"


def changed(old, new):
    """The one reading with one text in place of another."""
    assert old in READING
    return findings(READING.replace(old, new))


BAD = {
    "empty": ("", "empty"),
    "not utf-8": (findings(READING).encode("utf-16"), "UTF-8"),
    "latin-1": (findings("# Prüfung\n").encode("latin-1"), "UTF-8"),
    "10 MB": (findings("# padding\n" * 1_000_000), "1 MB"),
    "not toml": (changed('"-23.8 V"', "-23.8 V"), "bad.findings.toml:6"),
    "no layout": (READING, "layout"),
    "other layout": ("layout = 2\n", "layout"),
    "unknown table": (findings("[[telegram]]\n"), "telegram"),
    "one bracket": (findings(READING.replace("[[reading]]", "[reading]")), "reading"),
    "unknown key": (changed("value =", "volts ="), "volts"),
    "unknown check": (changed("dc volts", "dc voltage"), "dc volts"),
    "unknown net": (changed('"out"', '"outt"'), "'out'"),
    "same net": (changed("value", 'against = "out"\nvalue'), "both leads"),
    "unit mix-up": (changed("-23.8 V", "23.8 ohm"), ":6"),
    "prefix mix-up": (changed("-23.8 V", "23.8 uF"), ":6"),
    "not a number": (changed('"-23.8 V"', "nan"), ":6"),
    "infinite": (changed('"-23.8 V"', "inf"), ":6"),
    "no value": (changed('value = "-23.8 V"\n', ""), "one result"),
    "two values": (changed("value", "over = true\nvalue"), "one result"),
    "unknown meter": (changed("value", 'meter = "best"\nvalue'), "best"),
    "wrong state": (changed("value", 'state = "unplugged"\nvalue'), "unplugged"),
    "unknown complaint": (findings('[[complaint]]\nis = "hums"\n'), "hums"),
    "unknown driver": (findings('[[complaint]]\nis = "hum"\ndriver = "midrange"\n'), "midrange"),
    "unknown part": (findings('[[sighting]]\npart = "C99"\nis = "bulged"\n'), "C99"),
    "unknown sighting": (findings('[[sighting]]\npart = "C1"\nis = "bulgy"\n'), "bulgy"),
    "unknown work": (findings('[[work]]\ndid = "mended"\npart = "C1"\n'), "mended"),
    "work on nothing": (findings('[[work]]\ndid = "replaced"\n'), "on what"),
}


@pytest.mark.parametrize("name", BAD)
def test_wrong_findings_are_refused_with_their_place(refused, tmp_path, name):
    """Exit 2, the file and what was read."""
    text, says = BAD[name]
    board, file = tmp_path / "small.board.toml", tmp_path / "bad.findings.toml"
    board.write_text(SMALL)
    file.write_bytes(text if isinstance(text, bytes) else text.encode())

    refused("hunt", board, "--findings", file, "--json", code=2, says=["bad.findings.toml", says])


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("hunt",), "over files or over a job"),
        (("hunt", "BOARD", "--outline"), "over files or over a job"),
        (("hunt", "BOARD", "--job", 1), "no bench"),
        (("hunt", "--job", 1, "--findings", "BOARD"), "over files or over a job"),
        (("hunt", "BOARD", "--next", -1), "-1"),
        (("hunt", "BOARD", "--next", "many"), "--next"),
        (("hunt", "--job", 1), "no bench"),
        (("hunt", "BOARD", "--findings", "nowhere.findings.toml"), "nowhere.findings.toml"),
    ],
)
def test_a_hunt_that_is_not_asked_rightly_is_refused(refused, tmp_path, words, says):
    """Files and a job exclude each other, and numbers have their range."""
    board = tmp_path / "small.board.toml"
    board.write_text(SMALL)

    refused(*(board if word == "BOARD" else word for word in words), code=2, says=says)


def test_a_job_without_a_description_has_no_parts_to_clear(run, refused, monkeypatch):
    """Its hunt is among blocks, and says so."""
    monkeypatch.setattr("dustcap.job.outline.outline_board", lambda: SMALL_OUTLINE)
    run("intake", "--model", "m", "--unit", "u")

    found = run("hunt", "--job", 1, "--json").json

    assert {key for row in found["suspects"] for part in row["parts"] for key in part} == {"block"}
    refused("hunt", "--job", 1, "--why", "C9", code=2, says="no parts to clear")
