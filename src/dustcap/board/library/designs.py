"""Design equations of the library's blocks: settings in, part values out, all in base units.

Values are rounded to the nearest preferred value of the series that the block's setting `round_to` names
(IEC 60063); ``exact`` leaves them as computed. A `ValueError` says which settings cannot go together.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import log, pi, sqrt

from dustcap.parts.preferred import nearest

Settings = Mapping[str, float | str]
Values = dict[str, float | str]

MUTE_PIN_OHM = 1e3
"""From the mute pin to common inside a power amplifier, as the physics of this project lays down."""
MAINS_HIGH = 1.10
PEAK = sqrt(2.0)
CHARGING_SHARE = 0.9


def _number(settings: Settings, key: str) -> float:
    return float(settings[key])


def _rounded(settings: Settings, value: float) -> float:
    series = str(settings.get("round_to", "E24"))
    return value if series == "exact" else nearest(value, series)


def butterworth_low_pass(settings: Settings) -> Values:
    r"""Second-order low-pass with a follower, equal resistors, Q of 0.7071.

    Notes
    -----
    .. math:: C_1 = 2 C_2, \qquad R = \frac{1}{2 \pi f \sqrt{2} \, C_2}

    with the feedback capacitor C1 made of two of C2 side by side.

    References
    ----------
    .. [1] R. P. Sallen, E. L. Key, "A practical method of designing RC active filters", IRE Trans. CT-2, 1955 (from
       memory); general form w0^2 = 1/(R1 R2 C1 C2), Q = sqrt(R1 R2 C1 C2)/(C2 (R1 + R2)).
    """
    farad = _number(settings, "capacitor")
    return {"section_ohm": _rounded(settings, 1 / (2 * pi * _number(settings, "frequency") * sqrt(2) * farad))}


def butterworth_high_pass(settings: Settings) -> Values:
    r"""Second-order high-pass with a follower, equal capacitors, Q of 0.7071.

    Notes
    -----
    .. math:: R_1 = \frac{1}{2 \pi f \sqrt{2} \, C}, \qquad R_2 = 2 R_1

    with R1 from the output back and R2 to common. Reference: as for the low-pass.
    """
    ohm = 1 / (2 * pi * _number(settings, "frequency") * sqrt(2) * _number(settings, "capacitor"))
    return {"feedback_ohm": _rounded(settings, ohm), "ground_ohm": _rounded(settings, 2 * ohm)}


def split_supply(settings: Settings) -> Values:
    """Refuse reservoirs that the unloaded rail at mains +10 % would overstrain (peak of the half winding)."""
    peak = PEAK * MAINS_HIGH * _number(settings, "volts") * (1 + _number(settings, "regulation"))
    if peak > _number(settings, "rating"):
        raise ValueError(f"the rails reach {peak:.1f} V at mains +10 %, above the reservoirs' rating.")
    return {}


def zener_rails(settings: Settings) -> Values:
    r"""Series resistor of a zener rail.

    Notes
    -----
    .. math:: R = \frac{V_{raw} - V_Z}{I_{load} + I_Z}

    References
    ----------
    .. [1] The shunt regulator of the textbooks, e.g. Sedra and Smith, Microelectronic Circuits, chapter on diodes (from
       memory).
    """
    spare = _number(settings, "raw_volts") - _number(settings, "volts")
    if spare <= 0:
        raise ValueError("the raw rail is not above the zener's volts.")
    ohm = _rounded(settings, spare / (_number(settings, "load") + _number(settings, "zener_current")))
    return {"series_ohm": ohm, "series_watts": 2.0 if spare**2 / ohm > 0.5 else 1.0}


def mute_delay(settings: Settings) -> Values:
    r"""Capacitor of a mute network: two equal resistors from the low rail to the pin, the capacitor between them.

    Notes
    -----
    The pin is joined to common by 1 kohm inside. With V the rail, R each resistor and I the current that unmutes,

    .. math:: V_\infty = V \frac{R + 1k}{2R + 1k}, \quad V_{on} = I (R + 1k), \quad
              t = (R \parallel (R + 1k)) \, C \, \ln\frac{V_\infty}{V_\infty - V_{on}}

    which is the charging law of a capacitor through a resistance (any textbook), solved for C.
    """
    ohm, rail = _number(settings, "mute_resistor"), _number(settings, "raw_volts")
    branch = ohm + MUTE_PIN_OHM
    final, needed = rail * branch / (ohm + branch), _number(settings, "mute_current") * branch
    return {"mute_farad": _delay_farad(settings, ohm * branch / (ohm + branch), final, needed)}


def relay_delay(settings: Settings) -> Values:
    r"""Capacitor of a relay's delay: it charges through R until a zener and a base conduct.

    Notes
    -----
    .. math:: t = R C \ln\frac{V}{V - (V_Z + 0.65\,\mathrm{V})}

    the charging law of a capacitor (any textbook); 0.65 V for the base is from memory.
    """
    needed = _number(settings, "zener_volts") + 0.65
    ohm = _number(settings, "delay_resistor")
    return {"delay_farad": _delay_farad(settings, ohm, _number(settings, "raw_volts"), needed)}


def _delay_farad(settings: Settings, ohm: float, final: float, needed: float) -> float:
    if not needed < CHARGING_SHARE * final:
        raise ValueError(f"the delay never ends safely: it needs {needed:.1f} V and gets {final:.1f} V.")
    farad = _number(settings, "delay") / (ohm * log(final / (final - needed)))
    return farad if settings.get("round_to") == "exact" else nearest(farad, "E6")


def difference_stage(settings: Settings) -> Values:
    """Four-resistor difference stage: gain is the ratio of feedback to input resistor, alike in both halves."""
    return {"ratio_ohm": _rounded(settings, _number(settings, "input_resistor") * _number(settings, "gain"))}


def high_frequency_trim(settings: Settings) -> Values:
    r"""Shelf of a follower with gain: R to common through C lifts the treble.

    Notes
    -----
    .. math:: H = 1 + \frac{R_f}{R_g + 1/(sC)}: \quad \text{lift} = 1 + R_f/R_g, \quad
              f_{pole} = \frac{1}{2 \pi R_g C}, \quad f_{zero} = \frac{f_{pole}}{1 + R_f/R_g}

    the non-inverting stage of the textbooks with a complex ground branch. `frequency` is the middle of the slope,
    sqrt(f_zero f_pole).
    """
    lift = 10 ** (_number(settings, "lift") / 20)
    if not lift > 1:
        raise ValueError("a lift must be above 0 dB.")
    feedback = _number(settings, "feedback_resistor")
    ground = feedback / (lift - 1)
    pole_hz = _number(settings, "frequency") * sqrt(lift)
    farad = 1 / (2 * pi * ground * pole_hz)
    exact = settings.get("round_to") == "exact"
    return {"ground_ohm": _rounded(settings, ground), "lift_farad": farad if exact else nearest(farad, "E12")}


def mirrored_volts(settings: Settings) -> Values:
    """The negative of the volts, for the lower rail."""
    return {"minus_volts": -_number(settings, "volts")}


def limiter(settings: Settings) -> Values:
    """Two zeners back to back across the feedback hold the output at the zener volts plus one forward drop."""
    zener_v = _number(settings, "level") - 0.65
    if zener_v <= 0:
        raise ValueError("the level is below one forward drop.")
    return {"zener_volts": zener_v if settings.get("round_to") == "exact" else nearest(zener_v, "E24")}


def direct_voltage_detection(settings: Settings) -> Values:
    r"""Low-pass before a detector of direct voltage: slow enough for the lowest note, quick enough for the driver.

    Notes
    -----
    .. math:: C = \frac{1}{2 \pi f R}

    of a first-order low-pass, rounded to E6.
    """
    farad = 1 / (2 * pi * _number(settings, "frequency") * _number(settings, "sense_resistor"))
    return {"sense_farad": farad if settings.get("round_to") == "exact" else nearest(farad, "E6")}


DESIGNS: Mapping[str, Callable[[Settings], Values]] = {
    "low-pass section": butterworth_low_pass,
    "high-pass section": butterworth_high_pass,
    "split supply": split_supply,
    "zener rails": zener_rails,
    "mute delay": mute_delay,
    "relay delay": relay_delay,
    "difference stage": difference_stage,
    "high-frequency trim": high_frequency_trim,
    "mirrored volts": mirrored_volts,
    "limiter": limiter,
    "direct voltage detection": direct_voltage_detection,
}
