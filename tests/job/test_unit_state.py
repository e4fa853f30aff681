"""The unit's state by its entries, what has to be confirmed, and what the reservoirs hold."""

import pytest
from cli.boards import SMALL

from dustcap.errors import InputError, SafetyStop
from dustcap.job.corrections import correct, withdraw
from dustcap.job.desk import view
from dustcap.job.findings import enter
from dustcap.job.intake import take_in
from dustcap.job.payloads import Complaint, Intake, Reading, Work
from dustcap.job.replay import view_at
from dustcap.job.stored_energy import reservoirs
from dustcap.job.unit_state import assurances, confirm, unit_state
from dustcap.job.waiting import waits_for


@pytest.fixture
def small(desk, tmp_path):
    """A job on the small board."""
    path = tmp_path / "small.board.toml"
    path.write_text(SMALL)
    return take_in(desk, Intake(model="model 27", unit="left"), path).job


def read(at, value, **keys):
    """A reading of volts."""
    return Reading.model_validate({"check": "dc volts", "at": at, "against": "0V", "value": value, **keys})


def test_the_state_follows_the_entries(desk, small):
    """Unknown at first; powered after a powered reading; unplugged after work; complaints say nothing of it."""
    seen = [unit_state(view(desk, small))]
    for payload in (
        Complaint.model_validate({"is": "hum"}),
        read("out", "-4.1"),
        Work(did="cleaned", area="glue"),
        Reading.model_validate({"check": "ohms", "at": "out", "against": "0V", "value": "5.8"}),
    ):
        enter(desk, small, payload)
        seen.append(unit_state(view(desk, small)))

    assert seen == ["", "", "drivers disconnected", "unplugged", "unplugged"]


def test_each_change_of_state_is_confirmed_and_no_other(desk, small):
    """Nothing is asked in the state the unit is in; a limiter only where the power comes on."""
    names = [[one.name for one in assurances(view(desk, small), "drivers disconnected")]]
    enter(desk, small, read("out", "0.004"))
    at = view(desk, small)
    names += [
        [one.name for one in assurances(at, s)] for s in ("drivers disconnected", "drivers connected", "unplugged")
    ]

    assert names == [["drivers_off", "limited"], [], ["dc_read", "quiet"], ["discharged"]]
    confirm(at, "drivers disconnected", {})
    with pytest.raises(InputError, match="not confirmed: The plug is out"):
        confirm(at, "unplugged", {})


@pytest.mark.parametrize(("value", "stops"), [("-4.1", True), ("1.01", True), ("0.99", False), ("3 mV", False)])
def test_drivers_stay_away_from_direct_current(desk, small, value, stops):
    """The last reading since the work decides, at one volt."""
    enter(desk, small, read("out", "-19"))
    enter(desk, small, Work(did="cleaned", area="glue"))
    enter(desk, small, read("out", value))
    given = {"dc_read": True, "quiet": True}

    if not stops:
        confirm(view(desk, small), "drivers connected", given)
        return
    with pytest.raises(SafetyStop, match="a driver connected there burns"):
        confirm(view(desk, small), "drivers connected", given)


def test_the_reservoirs_hold_what_the_formula_says():
    """1000 uF at 24 V is C V^2 / 2 = 0.288 J on each rail (the formula as in any textbook); no bleeder empties it."""
    found = reservoirs(SMALL)

    assert [one.parts for one in found] == [("C1",), ("C2",)]
    for one in found:
        assert one.joule == pytest.approx(1000e-6 * 24.0**2 / 2, rel=1e-3)
        assert one.alone_s == float("inf")
        left = 24.0 * 2.718281828 ** (-one.hold_s / (one.resistor_ohm * one.farad))
        assert left < 5.0
        assert one.resistor_w == pytest.approx(24.0**2 / one.resistor_ohm, rel=1e-3)


def test_a_bleeder_is_counted():
    """1 kohm across 1000 uF takes 24 V below 5 V in R C ln(24/5) = 1.57 s."""
    text = SMALL.replace("[parts.U1]", 'R9 = { kind = "resistor", value = "1k", pins = ["rail+", "0V"] }\n\n[parts.U1]')

    found = {one.parts: one for one in reservoirs(text)}

    assert found["C1",].alone_s == pytest.approx(1.5686, rel=2e-3)


def test_a_job_is_seen_as_it_stood(desk, small):
    """Up to any entry; a withdrawal that came later does not count yet; a point beyond the end is refused."""
    enter(desk, small, Complaint.model_validate({"is": "hum"}))
    enter(desk, small, read("out", "-4.1"))

    assert len(view_at(desk, small, 2).state.facts) == 2
    with pytest.raises(InputError, match="no entry 9 to go back to"):
        view_at(desk, small, 9)


def test_an_intake_is_corrected_and_never_withdrawn(desk, small):
    """Without it no page could say which unit the job is about."""
    with pytest.raises(InputError, match="an intake is not withdrawn"):
        withdraw(desk, small, 1)
    correct(desk, small, 1, {"unit": "right"})

    assert view(desk, small).state.intake.unit == "right"


def test_a_job_says_what_it_waits_for(desk, small):
    """The complaint, the hunt, the proof."""
    said = [waits_for(view(desk, small).state, True)]
    for payload in (Complaint.model_validate({"is": "hum"}), Work(did="cleaned", area="glue")):
        enter(desk, small, payload)
        said.append(waits_for(view(desk, small).state, True))

    assert said[0] == "what it does: the complaint"
    assert said[1] == "the hunt"
    assert "a recording after the work" in said[2]
