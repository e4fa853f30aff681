"""The picture of the leak map: shading, readings, lightness that a grey printer keeps."""

from dataclasses import replace
from xml.etree import ElementTree

import pytest
from cli.boards import SMALL

from dustcap.job.leak_map import map_leaks
from dustcap.report.leak_picture import MARGIN, NUMBERED, TONES, WIDTH, hatching, leak_picture, tone
from dustcap.report.svg import PAPER


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    file = tmp_path_factory.mktemp("board") / "small.board.toml"
    file.write_text(SMALL)
    return map_leaks(file)


def test_an_area_is_shaded_by_its_worst_pair_with_the_reading_on_it(found):
    """Derived: 24 V x 22 k / (50 mV - 27.2 mV of bias) = 23 Mohm from a rail to the feedback net (see the command)."""
    (area,) = found.areas
    picture = leak_picture(found)

    assert "minus" in area.nets
    assert area.worst.limit.what == "dc at driver"
    assert f'fill="{tone(area.worst.ohms)}"' in picture
    assert "≤ 23 MΩ" in picture or "≤ 24 MΩ" in picture
    ElementTree.fromstring(picture)


def test_the_worst_of_an_area_is_the_weakest_leak_that_upsets_anything(found):
    """No pair of the area has a greater critical resistance."""
    (area,) = found.areas
    inside = [pair for pair in found.pairs if area.name in pair.areas]

    assert len(inside) == area.pairs
    assert area.worst.ohms == max(limit.ohms or 0 for pair in inside for limit in pair.limits)


def test_the_tones_are_even_steps_of_grey():
    """Each tone is grey and at least a tenth of full scale lighter than the next darker one."""
    levels = [int(fill[1:3], 16) for _, fill in TONES]

    assert all(fill[1:3] == fill[3:5] == fill[5:7] for _, fill in TONES)
    assert all(b - a >= 25 for a, b in zip(levels, [*levels[1:], 255], strict=True))


@pytest.mark.parametrize(("ohms", "index"), [(2e7, 0), (1e7, 0), (9.9e6, 1), (150.0, 4)])
def test_a_weaker_leak_is_darker(ohms, index):
    """By decades; white where none does harm."""
    assert tone(ohms) == TONES[index][1]
    assert tone(None) == PAPER


def test_hatching_stays_inside_the_outline():
    """Derived: a triangle 10 wide and 10 high, cut half way up: from 2.5 to 7.5."""
    (line,) = hatching([(0.0, 0.0), (10.0, 0.0), (5.0, 10.0)], 10.0)

    assert line == ((2.5, 5.0), (7.5, 5.0))


def test_no_label_lies_on_another_or_leaves_the_board(found):
    """The boxes with readings of a crowded board: forty gaps side by side, 3 mm apart."""
    gaps = tuple(
        replace(found.areas[0], name="", outline=((3.0 * k, 3.0 * j), (3.0 * k + 1, 3.0 * j)), nets=(f"n{k}", f"m{j}"))
        for k in range(10)
        for j in range(4)
    )
    picture = ElementTree.fromstring(leak_picture(replace(found, gaps=gaps)))

    boxes = [
        tuple(float(one.get(key)) for key in ("x", "y", "width", "height"))
        for one in picture.iter("{http://www.w3.org/2000/svg}rect")
        if one.get("stroke-width") == "0.6"
    ]
    assert len(boxes) == NUMBERED + 1
    for place, (x, y, wide, tall) in enumerate(boxes):
        assert x >= MARGIN
        assert x + wide <= WIDTH - MARGIN
        assert all(x + wide <= a or a + w <= x or y + tall <= b or b + t <= y for a, b, w, t in boxes[place + 1 :])
