"""Device laws: derivatives against differences, currents against formulas written anew."""

import numpy as np
import pytest
from circuit.test_heat import mixed_board
from circuit.wiring import circuit, op_amp, rails, resistor, signal_diode, source

from dustcap.circuit.assembly import powered
from dustcap.circuit.elements import Element
from dustcap.circuit.layout import layout_of
from dustcap.circuit.operating import operating_point
from dustcap.circuit.values import table_of

VT = 1.380649e-23 * 298.15 / 1.602176634e-19  # kT/q, SI constants


def groups_of(board):
    layout = layout_of(board)
    return powered(layout).problem.groups, table_of(layout, {})


def muted_board():
    plays = op_amp("P", "0V", "m", "o", mute="mute", mute_a=0.5e-3, bias_plus_a=1e-6, bias_minus_a=-1e-6)
    return circuit(*rails(), plays, resistor("R", "mute", "v+", 1e4))


@pytest.mark.parametrize("board", [mixed_board, muted_board], ids=["every law", "mute and both bias signs"])
def test_every_derivative_is_the_slope_of_its_current(board):
    """Central differences at random points, in the zones where the law is smooth on the scale of the step."""
    rng = np.random.default_rng(5)
    groups, table = groups_of(board())
    step = 1e-6
    for group in groups:
        m, p = group.columns.shape
        u = rng.uniform(-1.0, 1.0, (200, m, p))
        if group.law in ("amplifier", "regulator", "sink", "pin"):
            u *= 16.0
        if group.law in ("diode", "zener", "bipolar", "jfet", "mosfet"):
            u *= 0.35
        _, jacobian = group.evaluate(u, table)
        for column in range(p):
            shift = np.zeros(p)
            shift[column] = step
            up, down = group.evaluate(u + shift, table)[0], group.evaluate(u - shift, table)[0]
            slope, twice = (up - down) / (2 * step), group.evaluate(u, table)[0]
            bend = np.abs(up + down - 2 * twice) / step  # how much the slope changes within the step
            off = np.abs(jacobian[..., column] - slope)
            assert (off <= 2 * bend + 1e-6 * np.abs(slope) + 1e-6).all(), (group.law, column, off.max())


@pytest.mark.parametrize("seed", range(6))
def test_random_networks_of_junctions_satisfy_equations_written_anew(seed):
    """Plug back: Shockley and Ebers-Moll currents, written here from the textbook, sum to nothing at every net."""
    rng = np.random.default_rng(seed)
    nets = [f"n{k}" for k in range(7)]
    every = ["0V", *nets]
    parts = [source("V", "n0", volts=float(rng.uniform(5, 30)), ohm=10.0)]
    for k in range(10):
        a, b = rng.choice(every, 2, replace=False)
        parts.append(resistor(f"R{k}", str(a), str(b), float(10 ** rng.uniform(2, 5))))
    parts += [resistor(f"G{net}", net, "0V", 47e3) for net in nets]
    for k in range(4):
        a, b = rng.choice(every, 2, replace=False)
        parts.append(signal_diode(f"D{k}", str(a), str(b), ideality=1.5, saturation_a=1e-10, series_ohm=1.0))
    for k in range(2):
        c, b, e = rng.choice(every, 3, replace=False)
        sign = float(rng.choice([-1.0, 1.0]))
        parts.append(Element(f"Q{k}", "bipolar", (str(c), str(b), str(e)), {"sign": sign, "gain": 120.0}))
    board = circuit(*parts)

    point = operating_point(board)
    v = {"0V": 0.0} | {net: point.volt(net)[0] for net in nets if net in board.nets}
    out = dict.fromkeys(every, 0.0)
    for part in parts:
        if part.law == "resistor":
            a, b = part.nets
            i = (v[a] - v[b]) / part.value("ohm")
            out[a] += i
            out[b] -= i
        elif part.law == "source":
            out["n0"] += (v["n0"] - part.value("volts")) / 10.0
        elif part.law == "diode":
            a, b = part.nets
            i = diode_amps(v[a] - v[b])
            out[a] += i
            out[b] -= i
        else:
            c, b, e = part.nets
            s = part.value("sign")
            forward, back = np.exp(s * (v[b] - v[e]) / VT), np.exp(s * (v[b] - v[c]) / VT)
            ib = 1e-14 * ((forward - 1) / 120.0 + (back - 1) / 4.0)
            ic = 1e-14 * (forward - back - (back - 1) / 4.0)
            out[c] += s * ic
            out[b] += s * ib
            out[e] -= s * (ic + ib)

    assert point.converged.all()
    assert max(abs(out[net]) for net in board.nets) < 1e-8


def diode_amps(v):
    """Root of Shockley's law with 1 ohm in series by bisection."""
    low, high = -1e-9, max(v, 0.0) + 1e-9
    for _ in range(200):
        i = 0.5 * (low + high)
        low, high = (i, high) if i < 1e-10 * np.expm1(min((v - i) / (1.5 * VT), 700.0)) else (low, i)
    return 0.5 * (low + high)


@pytest.mark.parametrize(
    ("law", "values", "nets", "volts", "amps"),
    [
        # square law, from any textbook: k (vgs - Vth)^2 = 0.2 x 1^2, and k (2 vov vds - vds^2) below
        ("mosfet", {}, ("d", "g", "0V"), {"d": 10.0, "g": 4.0}, 0.2),
        ("mosfet", {}, ("d", "g", "0V"), {"d": 0.5, "g": 4.0}, 0.2 * (2 * 0.5 - 0.25)),
        ("mosfet", {"sign": -1.0}, ("d", "g", "0V"), {"d": -10.0, "g": -4.0}, -0.2),
        # depletion device: idss at zero gate volts, a quarter of it at half the cut-off, none beyond
        ("jfet", {}, ("d", "g", "0V"), {"d": 10.0, "g": 0.0}, 5e-3),
        ("jfet", {}, ("d", "g", "0V"), {"d": 10.0, "g": -1.0}, 1.25e-3),
        ("jfet", {}, ("d", "g", "0V"), {"d": 10.0, "g": -3.0}, 0.0),
    ],
)
def test_field_effect_transistors_follow_the_square_law(law, values, nets, volts, amps):
    """Drain current between stiff sources."""
    stiff = [source(f"V{net}", net, volts=v, ohm=0.0) for net, v in volts.items()]

    point = operating_point(circuit(*stiff, Element("M", law, nets, values)))

    # the knee of 1 mV at the threshold and the sources' floor of 1 mohm
    assert point.amps("M", "drain")[0] == pytest.approx(amps, rel=3e-3, abs=1e-7)


def test_a_zener_holds_its_volts_and_conducts_forward_like_silicon():
    """5.1 V behind 5 ohm at 10 mA, and about 0.7 V the other way."""
    board = circuit(
        source("V", "p", volts=10.0),
        source("W", "q", volts=-10.0),
        resistor("R1", "p", "a", 485.0),
        resistor("R2", "q", "b", 930.0),
        Element("Z1", "zener", ("0V", "a"), {"zener_v": 5.1}),
        Element("Z2", "zener", ("0V", "b"), {"zener_v": 5.1}),
    )

    point = operating_point(board)

    assert point.volt("a")[0] == pytest.approx(5.1 + 5 * 0.01, abs=2e-3)
    assert point.volt("b")[0] == pytest.approx(-VT * np.log(10e-3 / 1e-14), abs=2e-3)


def test_a_sink_draws_its_current_and_fades_below_a_volt():
    """20 mA at 12 V; from a supply that cannot give it the voltage stays above zero."""
    board = circuit(source("V", "p", volts=12.0, ohm=100.0), Element("S", "sink", ("p", "0V"), {"ampere": 20e-3}))

    point = operating_point(board, {("V", "ohm"): np.array([100.0, 1e4])})

    assert point.volt("p")[0] == pytest.approx(10.0, rel=1e-4)
    assert 0.0 < point.volt("p")[1] < 1.0


def test_an_output_follows_its_rails_where_idle_current_lifts_a_lost_one():
    """Contract: the output lies between low and high; with the lower rail cut off both stand near +15 V, so does it."""
    board = circuit(
        source("P", "v+", volts=15.0),
        resistor("L", "v-", "0V", 1e9),
        resistor("R1", "m", "0V", 10e3),
        resistor("R2", "out", "m", 10e3),
        op_amp("U", "0V", "m", "out"),
    )

    point = operating_point(board)

    assert point.converged.all()
    assert point.volt("v-")[0] == pytest.approx(15.0, abs=0.5)
    # a twentieth of the drive is left: 60 ohm / 0.05 into 20 kohm
    assert point.volt("out")[0] == pytest.approx(15.0, abs=1.5)
