"""The library of blocks: every template goes onto a board, every setting reaches a part, mistakes are told."""

import pytest
from board.bench import SUPPLIES, block_board

from dustcap.board.circuit import to_circuit
from dustcap.board.kinds import NUMBER, TRUTH
from dustcap.board.library.load import built_in, read_template
from dustcap.board.read import parse_board
from dustcap.errors import BoardError

NAMES = list(built_in())

# the blocks that the project asks for, in its own words
WANTED = (
    "split supply",
    "zener rails",
    "regulator rails",
    "input stage with volume control",
    "low-pass crossover band",
    "high-pass crossover band",
    "power amplifier stage",
    "relay muting",
    "bridge-tied amplifier",
    "discrete class-AB amplifier",
    "switch-mode supply module",
    "class-D amplifier module",
    "limiter",
    "high-frequency trim",
    "infrasonic filter",
    "balanced input",
    "standby circuit",
    "driver protection",
)


def _ports(name):
    needed = [port for port, spec in built_in()[name].ports.items() if not spec.optional]
    return ", ".join(f'{port} = "{port}"' for port in needed)


def test_the_library_has_the_blocks_that_are_wanted():
    """None of the list is missing."""
    assert set(WANTED) <= set(NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_a_template_says_what_it_is_and_where_its_equation_stands(name):
    """Title, source, and a sentence for every port and setting."""
    template = built_in()[name]

    assert template.says
    assert template.source
    assert all(port.says for port in template.ports.values())
    assert all(setting.says for setting in template.settings.values())


@pytest.mark.parametrize("name", NAMES)
def test_a_block_goes_onto_a_board_with_its_ports_alone(name):
    """Its parts carry the block's name, its inner nets too, and the ports are the board's nets."""
    board = block_board(name, _ports(name))
    block = board.blocks["b"]

    assert block.origin == name
    assert all(part.startswith("b-") for part in block.parts)
    assert all(board.part(part).block == "b" for part in block.parts)
    inner = {net for part in block.parts for net in board.part(part).nets} - set(block.ports.values()) - {"0V"}
    assert all(net.startswith("b-") for net in inner)
    assert {element.part for element in to_circuit(board).elements} == set(board.parts)


SETTINGS = [(name, setting) for name in NAMES for setting in built_in()[name].settings if setting != "rating"]
# settings that must go with another, lest the design be refused or its value stand in the series already
ALONGSIDE = {
    ("split supply", "volts"): "rating = 63",
    ("zener rails", "volts"): "raw_volts = 60",
    ("balanced input", "round_to"): "gain = 1.13",
    ("limiter", "round_to"): "level = 6.02",
}


def _another(name, setting):
    """Another value of a setting, as it would be written."""
    spec = built_in()[name].settings[setting]
    if spec.key.sort == TRUTH:
        return "false" if spec.default else "true"
    if spec.key.sort == NUMBER:
        return "0.35" if spec.key.most <= 1 else repr(float(spec.default) * 1.7)
    return '"exact"' if setting == "round_to" else repr(next(word for word in spec.key.choices if word != spec.default))


def _values(board):
    return [(part.values, part.drives, part.draws, part.gains) for part in board.parts.values()]


@pytest.mark.parametrize(("name", "setting"), SETTINGS)
def test_every_setting_reaches_a_part(name, setting):
    """Another value of a setting makes another block."""
    with_it = f", {ALONGSIDE[name, setting]}" if (name, setting) in ALONGSIDE else ""

    before = block_board(name, _ports(name) + with_it)
    after = block_board(name, f"{_ports(name)}{with_it}, {setting} = {_another(name, setting)}")

    assert _values(before) != _values(after)


def test_an_optional_port_joins_the_boards_net_or_stays_inside():
    """The mute pin is an inner net until it is named."""
    ports = _ports("power amplifier stage")

    assert block_board("power amplifier stage", ports).part("b-U1").pins["mute"] == "b-mute"
    joined = block_board("power amplifier stage", ports + ', mute = "line"')
    assert joined.part("b-U1").pins["mute"] == "line"
    assert joined.blocks["b"].ports["mute"] == "line"


ONE = SUPPLIES.format(mains="230 V 50 Hz") + '[blocks.b]\nfrom = "one"\n'


def _library(**templates):
    read = [read_template(f'layout = 1\nname = "{name}"\n{body}', f"{name}.toml") for name, body in templates.items()]
    return {template.name: template for template in read}


def test_blocks_that_contain_each_other_are_refused():
    """A circle in the library is told with its chain, not walked for ever."""
    library = _library(
        one='[blocks]\nx = { from = "two" }\n',
        two='[blocks]\ny = { from = "one" }\n',
    )

    with pytest.raises(BoardError, match="goes in a circle: 'one' in 'two' in 'one'") as caught:
        parse_board(ONE, "x", library=library)

    assert caught.value.where == "x:10"


@pytest.mark.parametrize(
    ("body", "words"),
    [
        ('[parts]\nR1 = { kind = "resistor", value = { from = "ohms" }, pins = ["a", "0V"] }', "takes 'ohms'"),
        ('[parts]\nR1 = { kind = "resistr", value = 1, pins = ["a", "0V"] }', "Did you mean 'resistor'"),
        ('[blocks]\nx = { from = "nothing" }', "no block 'nothing'"),
    ],
)
def test_a_template_that_cannot_be_placed_is_told(body, words):
    """The sentence names the library's slip, at the line of the board's block."""
    with pytest.raises(BoardError, match=words):
        parse_board(
            SUPPLIES.format(mains="230 V 50 Hz") + '[blocks.b]\nfrom = "one"\n', "x", library=_library(one=body)
        )


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('layout = 1\nname = "x"\ndesign = "low pas section"', "Did you mean 'low-pass section'"),
        ('layout = 1\nname = "x"\n[settings]\na = { unit = "V" }', "has no default"),
        ('layout = 1\nname = "x"\n[settings]\na = { unit = "V", default = "3 ohm" }', "key 'default'"),
        ('layout = 1\nname = "x"\n[prots]', "Did you mean 'ports'"),
        ('name = "x"', "begins with layout = 1"),
        ("layout = 1\nname = 3", "'name' is 3"),
    ],
)
def test_a_template_with_a_mistake_is_refused(text, words):
    """Templates are checked like boards."""
    with pytest.raises(BoardError, match=words):
        read_template(text, "x.toml")
