"""Short ways to write circuits down in the tests of this room."""

from dustcap.circuit.elements import Circuit, Element


def resistor(name, a, b, ohm):
    return Element(name, "resistor", (a, b), {"ohm": ohm})


def capacitor(name, a, b, farad, **values):
    return Element(name, "capacitor", (a, b), {"farad": farad, **values})


def inductor(name, a, b, henry, **values):
    return Element(name, "inductor", (a, b), {"henry": henry, **values})


def source(name, plus, minus="0V", volts=0.0, ohm=0.0):
    return Element(name, "source", (plus, minus), {"volts": volts, "ohm": ohm})


def rectifier(name, anode, cathode, **values):
    return Element(
        name, "diode", (anode, cathode), {"saturation_a": 1e-9, "ideality": 1.8, "series_ohm": 0.03, **values}
    )


def signal_diode(name, anode, cathode, **values):
    return Element(name, "diode", (anode, cathode), {"saturation_a": 1e-14, **values})


def op_amp(name, plus, minus, out, high="v+", low="v-", mute="", **values):
    ideal = {"bias_plus_a": 0.0, "bias_minus_a": 0.0}
    return Element(name, "amplifier", (plus, minus, out, high, low, mute), ideal | values)


def rails(volts=15.0):
    return (source("V+", "v+", volts=volts), source("V-", "v-", volts=-volts))


def circuit(*elements, **settings):
    return Circuit(tuple(elements), **settings)


def latching_amplifier():
    """Gain 11 by negative feedback, and a place for a leak from the output to the plus pin, which has 10 kohm."""
    return circuit(
        *rails(),
        resistor("RP", "p", "0V", 10e3),
        resistor("R1", "m", "0V", 1e3),
        resistor("R2", "m", "out", 10e3),
        resistor("leak", "p", "out", float("inf")),
        op_amp("U", "p", "m", "out", offset_v=2e-3),
    )
