"""What a good description reads as."""

import pytest
from board.sample import EXAMPLE, HEAD, small

from dustcap.board.kinds import KINDS
from dustcap.board.read import parse_board, read_board


def test_the_example_of_the_contract_reads():
    """Head, parts, blocks, places and areas come out as they were written."""
    board = parse_board(EXAMPLE, "example")

    assert (board.name, board.revision, board.mains_v, board.mains_hz) == ("model 27 main board", "C", 230.0, 50.0)
    assert board.part("R12").values == {"value": 22e3, "tolerance": 0.05, "power": 0.25}
    assert board.part("U3").pins["mute"] == "wf_mute"
    assert board.part("R12").block == "woofer_amplifier"
    assert board.blocks["woofer_amplifier"].parts == ("U3", "R10", "R11", "R12", "C20")
    assert board.part("tweeter_amplifier-R2").values["value"] == 22e3
    assert board.places == {"R12": (41.2, 18.7)}
    assert board.areas["glue_1"].outline == ((30, 12), (52, 12), (52, 26), (30, 26))
    assert (board.part("C9").line, board.areas["glue_1"].line) == (10, 27)


def test_what_was_given_and_what_was_assumed_are_told_apart():
    """`given` holds the written keys only, and a library part holds only the settings that the board adjusted."""
    board = parse_board(EXAMPLE)

    assert board.part("C9").given == {"value", "voltage", "esr"}
    assert board.part("C9").number("life") == 2000.0
    assert board.part("tweeter_amplifier-R2").given == {"value"}
    assert board.part("tweeter_amplifier-R3").given == frozenset()


# The table "Kinds, pins, keys (defaults in brackets)" of the description's contract, in base units.
DEFAULTS = {
    "resistor": {"tolerance": 0.05, "power": 0.25},
    "capacitor": {"tolerance": 0.10, "dielectric": "film"},
    "electrolytic": {"tolerance": 0.20, "temperature": 105.0, "life": 2000.0},
    "inductor": {"tolerance": 0.10, "resistance": 0.0},
    "potentiometer": {"tolerance": 0.20, "position": 0.5, "law": "linear"},
    "switch": {"closed": True},
    "diode": {"type": "signal"},
    "zener": {"tolerance": 0.05},
    "npn": {"gain": 200.0},
    "pnp": {"gain": 200.0},
    "n-mosfet": {"threshold": 3.0, "k": 0.2},
    "p-mosfet": {"threshold": 3.0, "k": 0.2},
    "n-jfet": {"cutoff": 2.0, "idss": 5e-3},
    "p-jfet": {"cutoff": 2.0, "idss": 5e-3},
    "op amp": {
        "gain": 1e5,
        "bandwidth": 3e6,
        "offset": 2e-3,
        "bias": 100e-9,
        "noise": 8e-9,
        "headroom": 1.5,
        "limit": 30e-3,
    },
    "power amplifier": {
        "gain": 1e5,
        "bandwidth": 5e6,
        "offset": 3e-3,
        "bias": 200e-9,
        "headroom": 3.0,
        "limit": 4.0,
        "mute_current": 0.5e-3,
        "quiescent": 50e-3,
    },
    "regulator": {"dropout": 2.0, "limit": 1.0, "quiescent": 5e-3},
    "supply": {"resistance": 0.0},
    "input": {"resistance": 50.0},
}


@pytest.mark.parametrize("kind", DEFAULTS)
def test_the_defaults_are_those_of_the_contract(kind):
    """A part without optional keys has the contract's default of each."""
    spec = KINDS[kind]
    pins = [f"n{number}" for number in range(len(spec.pins) - 1)] + ["0V"]
    pairs = ", ".join(f'{pin} = "{net}"' for pin, net in zip(spec.pins, pins, strict=True))
    needed = "".join(f', {key} = "{entry.example}"' for key, entry in spec.keys.items() if entry.needed)

    part = small(f'X1 = {{ kind = "{kind}"{needed}, pins = {{ {pairs} }} }}').part("X1")

    assert {key: part.values[key] for key in DEFAULTS[kind]} == DEFAULTS[kind]


def test_a_coil_pulls_in_at_seventy_percent():
    """A relay coil with its rated volts only pulls in at 70 % of them (the contract's default)."""
    board = small('K1 = { kind = "relay coil", resistance = "1k", volts = "24 V", pins = ["a", "0V"] }')

    assert board.part("K1").number("pull_in") == pytest.approx(16.8)


@pytest.mark.parametrize(("pins", "taps"), [('["a", "b"]', 2), ('["a", "0V", "b"]', 3)])
def test_a_winding_has_two_ends_and_may_have_a_tap(pins, taps):
    """A secondary of two nets has no tap, of three the middle one is."""
    board = small(
        f'T1 = {{ kind = "transformer", volts = "18 V", pins = {{ secondary = {pins} }} }}\n'
        'R1 = { kind = "resistor", value = 1000, pins = ["a", "0V"] }'
    )

    assert list(board.part("T1").pins) == (["a", "b"] if taps == 2 else ["a", "tap", "b"])


def test_a_module_says_what_it_drives_draws_and_passes():
    """Nets may be named by themselves or by the module's pins."""
    board = small(
        'M1 = { kind = "module", pins = { p5 = "five", vin = "rail", ref = "0V", sig = "in", amp = "out" }, '
        'drives = { five = "5 V" }, draws = { vin = "20 mA" }, gain = [{ from = "sig", to = "out", value = -10 }], '
        "modes = { dead = 0.7, weak = 0.3 } }"
    )
    module = board.part("M1")

    assert (module.drives, module.draws) == ({"five": 5.0}, {"rail": 0.02})
    assert (module.gains[0].source, module.gains[0].to, module.gains[0].value) == ("in", "out", -10.0)
    assert module.modes == {"dead": 0.7, "weak": 0.3}


def test_modes_and_seals_are_kept():
    """A part can carry its own shares of failure modes, or none at all."""
    board = small(
        'R1 = { kind = "resistor", value = "1k", modes = { short = 0.1, open = 0.9 }, pins = ["a", "0V"] }\n'
        'R2 = { kind = "resistor", value = "1k", sealed = true, pins = ["a", "0V"] }'
    )

    assert board.part("R1").modes == {"short": 0.1, "open": 0.9}
    assert board.part("R2").sealed


def test_another_net_can_be_the_common_one():
    """[board] common renames the reference, for the library's blocks too."""
    text = EXAMPLE.replace('"0V"', '"chassis"').replace("mains =", 'common = "chassis"\nmains =')

    board = parse_board(text)

    assert board.nets[0] == "chassis"
    assert "0V" not in board.nets


def test_nets_that_only_one_pin_touches_are_told():
    """A net with a single pin is allowed and listed."""
    board = small('R1 = { kind = "resistor", value = "1k", pins = ["lonely", "0V"] }')

    assert board.loose_nets == ("lonely",)


@pytest.mark.parametrize("change", [str, lambda text: text.replace("\n", "\r\n"), lambda text: "\ufeff" + text])
def test_line_ends_and_byte_order_marks_do_not_matter(tmp_path, change):
    """A file with Windows line ends or a byte order mark reads the same."""
    path = tmp_path / "one.board.toml"
    path.write_bytes(change(EXAMPLE).encode("utf-8"))

    board = read_board(path)

    assert board.part("R12").number("value") == 22e3
    assert board.part("C9").line == 10


def test_a_board_without_parts_is_a_beginning():
    """A head alone reads: the parts come later."""
    assert parse_board('layout = 1\n[board]\nname = "new"\n').parts == {}


def test_names_may_be_quoted():
    """A part name with a space or a dot reads when it is quoted, and keeps its line."""
    board = parse_board(HEAD + '"R 1.a" = { kind = "resistor", value = "1k", pins = ["a", "0V"] }\n')

    assert board.part("R 1.a").line == 5
