"""Blocks of the library between supplies, solved: what the tests of the library measure with."""

import numpy as np

from dustcap.board.circuit import to_circuit
from dustcap.board.read import parse_board
from dustcap.circuit.operating import operating_point
from dustcap.circuit.signal import small_signal

SUPPLIES = """layout = 1
[board]
name = "bench"
mains = "{mains}"
[parts]
VP = {{ kind = "supply", value = "27 V", resistance = 0.01, pins = ["high", "0V"] }}
VN = {{ kind = "supply", value = "27 V", resistance = 0.01, pins = ["0V", "low"] }}
VA = {{ kind = "supply", value = "15 V", resistance = 0.01, pins = ["plus", "0V"] }}
VB = {{ kind = "supply", value = "15 V", resistance = 0.01, pins = ["0V", "minus"] }}
"""


def block_board(name, settings="", parts="", more="", mains="230 V 50 Hz"):
    """A board with one library block called `b`; settings are the inside of its `with`."""
    block = f'[blocks.b]\nfrom = "{name}"\nwith = {{ {settings} }}\n'
    return parse_board(SUPPLIES.format(mains=mains) + parts + "\n" + block + more, "bench.board.toml")


def source(net, volts):
    """A stiff source from a net to common, as a part's line."""
    return f'V_{net} = {{ kind = "supply", value = {volts}, resistance = 0.01, pins = ["{net}", "0V"] }}\n'


def solved(board, values=None):
    """Circuit and operating point; it must converge."""
    circuit = to_circuit(board)
    point = operating_point(circuit, values or {})
    assert point.converged.all()
    return circuit, point


def net_volts(board, *nets):
    """Volts of nets at the operating point."""
    circuit, point = solved(board)
    return [float(point.volts[0, circuit.nets.index(net)]) for net in nets]


def gain_db(board, hz, net, *, against="0V", source="IN1"):
    """Gain in dB from a source to a net, one number a frequency."""
    circuit, point = solved(board)
    response = small_signal(circuit, point, hz, source=source)
    return 20 * np.log10(np.abs(response.volt(net)[0] - response.volt(against)[0]))
