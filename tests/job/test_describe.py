"""A board is described from library blocks; what is assumed is marked until it is confirmed."""

import pytest

from dustcap.errors import InputError
from dustcap.job.block_forms import block_form, description, form_on, kind_form, library_choices
from dustcap.job.block_preview import preview_of
from dustcap.job.describe import adjust_block, confirm_block, put_block, put_part, set_part, take_block, take_part
from dustcap.job.drawer import begin, open_board

SUPPLY, STAGE = "split supply", "low-pass section"


@pytest.fixture
def stem(desk):
    """An empty board's name in the drawer."""
    return begin(desk, "small board", "A", "")


def put(desk, stem, origin, **changed):
    """Put a block with the nets that its form proposes; returns its name."""
    form = form_on(desk, stem, origin=origin)
    fields = {line.field: line.net for line in form.ports} | changed
    put_block(desk, stem, origin, form.name, fields)
    return form.name


def test_two_blocks_and_a_driver_make_a_board(desk, stem):
    """Blocks join by the nets that are proposed, and the plain file says it all."""
    put(desk, stem, SUPPLY)
    rails = put(desk, stem, "zener rails")
    stage = put(desk, stem, STAGE)
    put_part(desk, stem, "IN1", "input", {"hot": "in", "cold": "0V"}, {})
    amplifier = put(desk, stem, "power amplifier stage")
    put_part(desk, stem, "LS1", "driver", {"plus": f"{amplifier}_out", "minus": "0V"}, {"resistance": "5.6 ohm"})

    board = open_board(desk, stem)
    assert board.blocks[rails].ports["plus"] == board.blocks[stage].ports["plus"] == "+15"
    assert board.blocks[amplifier].ports["in"] == board.blocks[stage].ports["out"]
    found = description(desk, stem)
    assert found.blocks[0].origin == SUPPLY
    assert found.blocks[0].feeds
    assert found.assumed > 30
    assert 'from = "split supply"' in board.text
    assert board.parts["LS1"].number("resistance") == 5.6


def test_every_library_value_is_assumed_until_it_is_confirmed(desk, stem):
    """Setting one value takes one from the count, confirming the block takes all, and the file holds them."""
    name = put(desk, stem, STAGE)
    before = form_on(desk, stem, block=name).assumed

    set_part(desk, stem, f"{name}-R1", "brown black orange gold")
    after = form_on(desk, stem, block=name)
    assert after.assumed == before - 1
    part = open_board(desk, stem).parts[f"{name}-R1"]
    assert (part.number("value"), part.number("tolerance")) == (10e3, 0.05)

    confirm_block(desk, stem, name)
    assert form_on(desk, stem, block=name).assumed == 0
    assert description(desk, stem).assumed == 0
    assert open_board(desk, stem).parts[f"{name}-R1"].number("value") == 10e3


def test_values_inside_an_inner_block_are_assumed_too(desk, stem):
    """A crossover band's sections count as assumed as long as the band's own values are the library's."""
    name = put(desk, stem, "low-pass crossover band")

    lines = {line.short: line for line in form_on(desk, stem, block=name).parts}

    assert {line.assumed for line in lines.values() if line.kind in ("resistor", "capacitor")} == {True}
    adjust_block(
        desk,
        stem,
        name,
        {line.field: line.net for line in form_on(desk, stem, block=name).ports} | {"set-capacitor": "10n"},
    )
    given = {line.short for line in form_on(desk, stem, block=name).parts if line.key and not line.assumed}
    assert given
    assert all("C" in short for short in given)


def test_confirming_changes_no_value(desk, stem):
    """What was confirmed is what was computed with before, to six digits."""
    name = put(desk, stem, "power amplifier stage")
    before = open_board(desk, stem)

    confirm_block(desk, stem, name)

    after = open_board(desk, stem)
    for part in before.parts.values():
        for key, value in part.values.items():
            now = after.parts[part.name].values[key]
            assert now == (pytest.approx(value, rel=1e-5) if isinstance(value, float) else value), (part.name, key)


def test_an_adjusted_setting_moves_its_parts_and_an_empty_one_gives_it_back(desk, stem):
    """Half the corner frequency, twice the resistance; an empty field is the library's again."""
    name = put(desk, stem, STAGE, **{"set-frequency": "1 kHz", "set-round_to": "exact"})
    ports = {line.field: line.net for line in form_on(desk, stem, block=name).ports}
    ohms = open_board(desk, stem).parts[f"{name}-R1"].number("value")

    adjust_block(desk, stem, name, ports | {"set-frequency": "500 Hz", "set-round_to": "exact"})
    assert open_board(desk, stem).parts[f"{name}-R1"].number("value") == pytest.approx(2 * ohms)

    adjust_block(desk, stem, name, ports)
    assert "frequency" not in open_board(desk, stem).text


@pytest.mark.parametrize(
    ("fields", "field", "says"),
    [
        ({"set-frequency": "fast"}, "set-frequency", "does not read|'fast'"),
        ({"set-frequency": "-5 Hz"}, "set-frequency", "must be more than 0"),
        ({"set-capacitor": "10 kohm"}, "set-capacitor", "is in"),
        ({"set-round_to": "E7"}, "set-round_to", "E7"),
        ({"port-in": ""}, "port-in", "has no net"),
        ({"port-in": "x" * 80}, "port-in", "is no name"),
    ],
)
def test_a_wrong_field_is_one_line_beside_it_and_changes_nothing(desk, stem, fields, field, says):
    """The line names its field, and the file stays as it was."""
    name = put(desk, stem, STAGE)
    text = open_board(desk, stem).text
    ports = {line.field: line.net for line in form_on(desk, stem, block=name).ports}

    with pytest.raises(InputError, match=says) as why:
        adjust_block(desk, stem, name, ports | fields)

    assert why.value.where == field
    assert "\n" not in str(why.value)
    assert open_board(desk, stem).text == text


def test_a_block_is_taken_away_with_all_that_was_written_of_it(desk, stem):
    """Nothing of it is left in the file."""
    name = put(desk, stem, STAGE)
    set_part(desk, stem, f"{name}-R1", "4k7")

    take_block(desk, stem, name)

    assert name not in open_board(desk, stem).text


def test_names_are_free_and_not_taken_twice(desk, stem):
    """A second block of the same kind gets the next name; the same name is refused."""
    first = put(desk, stem, STAGE)
    second = form_on(desk, stem, origin=STAGE)

    assert second.name == f"{first}_2"
    assert dict((line.name, line.net) for line in second.ports)["in"] == f"{first}_out"
    with pytest.raises(InputError, match="already"):
        put_block(desk, stem, STAGE, first, {line.field: line.net for line in second.ports})


def test_single_parts_come_and_go(desk, stem):
    """Kinds bring their pins and keys; a wrong one is refused beside its field."""
    form = kind_form(desk, stem, "resistor")
    put_part(desk, stem, form.name, "resistor", {"a": "x", "b": "0V"}, {"value": "2k2"})

    assert kind_form(desk, stem, "resistor").name == "R2"
    take_part(desk, stem, "R1")
    assert open_board(desk, stem).parts == {}
    for kind, nets, values, field in (
        ("resistor", {"a": "x"}, {"value": "1k"}, "port-b"),
        ("resistor", {"a": "x", "b": "0V"}, {"value": "470"}, "set-value"),
        ("gearbox", {}, {}, "kind"),
    ):
        with pytest.raises(InputError) as why:
            put_part(desk, stem, "R5", kind, nets, values)
        assert why.value.where == field


@pytest.mark.parametrize("origin", [choice.name for choice in library_choices()])
def test_every_block_of_the_library_has_a_sheet_by_itself(desk, stem, origin):
    """With stand-ins for what it lacks, a block alone has an operating point, and the stand-ins are told."""
    name = put(desk, stem, origin)
    board = open_board(desk, stem)

    preview = preview_of(board, name)
    sheet = preview.compute()

    assert sheet.sheet.solved == 1.0
    assert set(preview.nets) & set(sheet.sheet.nets)
    assert block_form(board, name).assumed > 0


def test_rails_are_stood_in_for_by_the_volts_that_their_names_say(desk, stem):
    """A net called -12V gets minus twelve volts; one without a number the usual ones."""
    name = put(desk, stem, STAGE, **{"port-minus": "-12V", "port-plus": "supply"})

    preview = preview_of(open_board(desk, stem), name)

    volts = preview.compute().sheet.nets
    assert volts["-12V"].dc_volts.median == pytest.approx(-12.0, rel=1e-3)
    assert volts["supply"].dc_volts.median == pytest.approx(15.0, rel=1e-3)
    assert "-12 V on -12V" in preview.stand_ins


def test_a_block_on_a_fed_board_is_computed_with_the_boards_own_rails(desk, stem):
    """The supply that is there feeds the amplifier; only the signal is stood in for."""
    put(desk, stem, SUPPLY)
    amplifier = put(desk, stem, "power amplifier stage")

    preview = preview_of(open_board(desk, stem), amplifier)

    assert preview.stand_ins == ("a source of 50 Ω at in",)
    assert 24 < preview.compute().sheet.nets["rail+"].dc_volts.median < 29


def test_a_fed_board_needs_no_stand_ins(desk, stem):
    """Once supply, rails and source are there, the whole board is computed as it is."""
    put(desk, stem, SUPPLY)
    put(desk, stem, "zener rails")
    stage = put(desk, stem, STAGE)
    assert preview_of(open_board(desk, stem), stage).stand_ins
    put_part(desk, stem, "IN1", "input", {"hot": "in", "cold": "0V"}, {})

    assert preview_of(open_board(desk, stem), stage).stand_ins == ()
