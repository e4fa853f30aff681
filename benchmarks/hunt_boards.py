"""Boards for the games: small ones of library blocks, a revision of model 27, or any board file."""

from __future__ import annotations

from pathlib import Path

from dustcap.board.model import Board
from dustcap.board.read import parse_board, read_board
from dustcap.demo.boards import model_27

HEAD = 'layout = 1\n[board]\nname = "{name}"\nrevision = "games"\nmains = "230 V 50 Hz"\n'
DRIVER = (
    'LS1 = {{ kind = "driver", role = "woofer", resistance = "6 ohm", bl = 6, compliance = "0.8 mm/N", '
    'excursion = "4 mm", pins = ["{at}", "0V"] }}\n'
)
INPUT = 'IN1 = { kind = "input", resistance = "100 ohm", pins = ["in", "0V"] }\n'
RAILS = (
    'V1 = { kind = "supply", value = "27 V", resistance = "0.3 ohm", pins = ["rail+", "0V"] }\n'
    'V2 = { kind = "supply", value = "27 V", resistance = "0.3 ohm", pins = ["0V", "rail-"] }\n'
)
LITTLE = (
    'V3 = { kind = "supply", value = "15 V", resistance = "1 ohm", pins = ["+15", "0V"] }\n'
    'V4 = { kind = "supply", value = "15 V", resistance = "1 ohm", pins = ["0V", "-15"] }\n'
)
SUPPLY = '[blocks.raw]\nfrom = "split supply"\nwith = { high = "rail+", low = "rail-" }\n'
AMPLIFIER = (
    '[blocks.amp]\nfrom = "power amplifier stage"\n'
    'with = {{ in = "{at}", out = "{out}", high = "rail+", low = "rail-" }}\n'
)
GLUE = '[areas.glue]\nkind = "residue"\noutline = [[0, 0], [30, 0], [30, 20], [0, 20]]\n'


def _glued(*parts: str) -> str:
    places = "".join(f'"{part}" = [{4 + 6 * number}, 8]\n' for number, part in enumerate(parts))
    return f"[places]\n{places}{GLUE}"


def _amplifier() -> str:
    """Raw rails and one power amplifier, glue about the feedback and the mute delay."""
    parts = "[parts]\n" + INPUT + DRIVER.format(at="out")
    return parts + SUPPLY + AMPLIFIER.format(at="in", out="out") + _glued("amp-R3", "amp-C3", "amp-C5", "raw-C1")


def _band() -> str:
    """A fourth-order low-pass before a power amplifier; the glue reaches a raw rail, as on the next two."""
    parts = "[parts]\n" + INPUT + RAILS + LITTLE + DRIVER.format(at="out")
    band = (
        '[blocks.low]\nfrom = "low-pass crossover band"\n'
        'with = { in = "in", out = "drive", plus = "+15", minus = "-15" }\n'
    )
    return parts + band + AMPLIFIER.format(at="drive", out="out") + _glued("amp-C3", "amp-R3", "amp-C1", "amp-C6")


def _input() -> str:
    """A balanced input, the volume control and a power amplifier."""
    parts = '[parts]\nIN1 = { kind = "input", resistance = "100 ohm", pins = ["hot", "cold"] }\n'
    parts += 'RV1 = { kind = "potentiometer", value = "10k", law = "log", position = 0.7, '
    parts += 'pins = ["0V", "wiper", "track"] }\n'
    parts += RAILS + LITTLE + DRIVER.format(at="out")
    first = (
        '[blocks.receive]\nfrom = "balanced input"\n'
        'with = { hot = "hot", cold = "cold", out = "track", plus = "+15", minus = "-15" }\n'
    )
    return parts + first + AMPLIFIER.format(at="wiper", out="out") + _glued("amp-C3", "amp-R3", "amp-C5", "amp-C6")


def _muting() -> str:
    """Raw rails, a power amplifier and a relay that joins the driver to it after switch-on."""
    parts = "[parts]\n" + INPUT + DRIVER.format(at="spk")
    relay = '[blocks.mute]\nfrom = "relay muting"\nwith = { amplifier = "out", driver = "spk", high = "rail+" }\n'
    return (
        parts + SUPPLY + AMPLIFIER.format(at="in", out="out") + relay + _glued("amp-C3", "amp-R3", "amp-C5", "amp-C6")
    )


def _supply() -> str:
    """Raw rails, small rails of zener diodes, a high-pass on them and a power amplifier."""
    parts = "[parts]\n" + INPUT + DRIVER.format(at="out")
    small = '[blocks.zener]\nfrom = "zener rails"\n'
    small += 'with = { high = "rail+", low = "rail-", plus = "+15", minus = "-15" }\n'
    section = '[blocks.high]\nfrom = "high-pass section"\n'
    section += 'with = { in = "in", out = "drive", plus = "+15", minus = "-15" }\n'
    rest = AMPLIFIER.format(at="drive", out="out") + _glued("raw-C1", "amp-C3", "amp-R3", "amp-C5")
    return parts + SUPPLY + small + section + rest


def _discrete() -> str:
    """An amplifier of single transistors."""
    parts = "[parts]\n" + INPUT + RAILS + DRIVER.format(at="out")
    block = '[blocks.ab]\nfrom = "discrete class-AB amplifier"\n'
    return parts + block + 'with = { in = "in", out = "out", high = "rail+", low = "rail-" }\n'


def _bridge() -> str:
    """Two amplifiers with the driver between them."""
    parts = "[parts]\n" + INPUT + RAILS + DRIVER.format(at="out").replace('"0V"', '"back"')
    block = '[blocks.pair]\nfrom = "bridge-tied amplifier"\n'
    return parts + block + 'with = { in = "in", out_a = "out", out_b = "back", high = "rail+", low = "rail-" }\n'


def _block(named: str, source: str, nets: str) -> str:
    return f'[blocks.{named}]\nfrom = "{source}"\nwith = {{ {nets} }}\n'


def _module() -> str:
    """Modules known from outside only: supply and amplifier, behind a filter against rumble on regulated rails."""
    parts = "[parts]\n" + INPUT + DRIVER.format(at="out")
    parts += _block("mains", "switch-mode supply module", 'high = "rail+", low = "rail-"')
    parts += _block("small", "regulator rails", 'high = "rail+", low = "rail-", plus = "+15", minus = "-15"')
    parts += _block("rumble", "infrasonic filter", 'in = "in", out = "drive", plus = "+15", minus = "-15"')
    parts += _block("amp", "class-D amplifier module", 'in = "drive", out = "out", high = "rail+", low = "rail-"')
    return parts + _glued("small-C1", "small-C3", "rumble-section-R1", "rumble-section-C1")


def _treble() -> str:
    """Volume control, treble lift, limiter and a fourth-order high-pass before the tweeter's amplifier."""
    small = 'plus = "+15", minus = "-15"'
    parts = "[parts]\n" + INPUT + RAILS + LITTLE + DRIVER.format(at="out").replace("woofer", "tweeter")
    parts += _block("first", "input stage with volume control", f'in = "in", out = "a", {small}')
    parts += _block("trim", "high-frequency trim", f'in = "a", out = "b", {small}')
    parts += _block("limit", "limiter", f'in = "b", out = "c", {small}')
    parts += _block("high", "high-pass crossover band", f'in = "c", out = "drive", {small}')
    return parts + AMPLIFIER.format(at="drive", out="out") + _glued("amp-C3", "amp-R3", "amp-C1", "amp-C6")


def _standby() -> str:
    """Raw and regulated rails, a switch that lets the unit sleep, a low-pass, and a relay that guards the driver."""
    parts = "[parts]\n" + INPUT + DRIVER.format(at="spk") + SUPPLY
    parts += _block("small", "regulator rails", 'high = "rail+", low = "rail-", plus = "+15", minus = "-15"')
    parts += _block("sleep", "standby circuit", 'mute = "mute", plus = "+15", minus = "-15"')
    parts += _block("low", "low-pass section", 'in = "in", out = "drive", plus = "+15", minus = "-15"')
    parts += AMPLIFIER.format(at="drive", out="out").replace("{ in", '{ mute = "mute", in')
    parts += _block("guard", "driver protection", 'amplifier = "out", driver = "spk", high = "rail+"')
    return parts + _glued("amp-C3", "amp-R3", "amp-C5", "raw-C1")


SMALL = {"amplifier": _amplifier, "band": _band, "input": _input, "muting": _muting}
OTHERS = {
    "supply": _supply,
    "discrete": _discrete,
    "bridge": _bridge,
    "module": _module,
    "treble": _treble,
    "standby": _standby,
}


def board_of(named: str) -> Board:
    """A small board by its name, a revision of model 27 by its letter, or a board file."""
    boards = SMALL | OTHERS
    if named in boards:
        return parse_board(HEAD.format(name=named) + boards[named](), f"board {named} of the games")
    return model_27(named) if named in ("A", "C") else read_board(Path(named))
