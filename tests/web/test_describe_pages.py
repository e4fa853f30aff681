"""Describing a board on the pages: forms alone, from nothing to a sheet."""

import re

import pytest
from web.test_board_pages import waited

from dustcap.job.drawer import open_board

HERE = "/boards/small_board_a/describe"
STAGE = {
    "origin": "low-pass section",
    "name": "low",
    "port-in": "in",
    "port-out": "out",
    "port-plus": "+15",
    "port-minus": "-15",
}


@pytest.fixture
def begun(send):
    """A board that was begun."""
    assert send("/boards", name="small board", revision="A", mains="").status_code == 303


@pytest.fixture
def staged(begun, send):
    """A board with one block."""
    assert send("/boards/small_board_a/blocks", **STAGE).headers["location"] == f"{HERE}?block=low"


def test_a_block_is_chosen_with_likely_nets_and_values_to_adjust(pages, begun):
    """The form proposes rails by their usual names and shows every library value as assumed."""
    got = pages.get(f"{HERE}?new=low-pass+section").text

    assert 'value="+15"' in got
    assert got.count('class="assumed"') == 3
    assert 'placeholder="' in got


def test_its_sheet_stands_beside_it(pages, staged):
    """With what stands in for the missing rest, told."""
    got = waited(pages, f"{HERE}?block=low", "Standing in for it")

    assert "15 V on +15" in got
    assert re.search(r'<th scope="row">out</th><td>', got)


def test_what_is_assumed_is_counted_until_it_is_confirmed(pages, send, staged):
    """Reading one part, then confirming the rest, brings the count to nothing."""
    before = int(re.search(r"(\d+) values are assumed", pages.get(HERE).text)[1])

    send("/boards/small_board_a/parts/value", block="low", part="low-R1", value="yellow violet red gold")
    after = int(re.search(r"(\d+) values are assumed", pages.get(HERE).text)[1])
    send("/boards/small_board_a/blocks/adjust", block="low", act="confirm")

    assert after == before - 1
    assert "Every value is confirmed" in pages.get(HERE).text


@pytest.mark.parametrize(
    ("path", "fields", "field"),
    [
        ("blocks", STAGE | {"name": "two", "set-frequency": "fast"}, "set-frequency"),
        ("blocks", STAGE | {"name": "two", "port-out": ""}, "port-out"),
        ("blocks", STAGE, "name"),
        ("blocks/adjust", STAGE | {"block": "low", "set-capacitor": "10 V"}, "set-capacitor"),
        ("parts/value", {"block": "low", "part": "low-R1", "value": "470"}, "low-R1"),
        ("parts", {"kind": "resistor", "name": "R9", "port-a": "x", "port-b": "0V", "set-value": "470"}, "set-value"),
        ("parts", {"kind": "resistor", "name": "R9", "port-a": "x"}, "port-b"),
    ],
)
def test_a_bad_value_comes_back_with_one_line_by_its_field(send, staged, desk, path, fields, field):
    """The page holds what was typed, the line stands by the field, the file is as before."""
    before = open_board(desk, "small_board_a").text

    got = send(f"/boards/small_board_a/{path}", **fields)

    assert got.status_code == 422
    assert f'id="{field}-problem"' in got.text
    assert f'aria-describedby="{field}-problem"' in got.text
    assert got.text.count('role="alert"') == 1
    assert open_board(desk, "small_board_a").text == before


@pytest.mark.parametrize("path", ["blocks", "blocks/adjust", "parts", "parts/value"])
def test_forms_with_nothing_in_them_are_refused(send, staged, path):
    """An empty form is a page with a line, never a defect of ours."""
    assert send(f"/boards/small_board_a/{path}").status_code == 422


def test_blocks_and_parts_are_taken_away(pages, send, staged, desk):
    """What was put comes off again."""
    send("/boards/small_board_a/parts", kind="input", name="IN1", **{"port-hot": "in", "port-cold": "0V"})
    assert "IN1" in pages.get(HERE).text

    send("/boards/small_board_a/parts/value", part="IN1", act="take")
    send("/boards/small_board_a/blocks/adjust", block="low", act="take")

    assert open_board(desk, "small_board_a").parts == {}


def test_every_kind_has_its_form(pages, begun):
    """Each kind that is put singly shows its pins and keys."""
    kinds = re.findall(r'href="\?part=([^"]+)"', pages.get(HERE).text)

    assert len(kinds) > 20
    for kind in kinds:
        assert pages.get(f"{HERE}?part={kind}").status_code == 200
