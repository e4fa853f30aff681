"""The unit's state is asked for at each change, once, and drivers are kept away from d.c."""

from dustcap.job.desk import view


def reading(send, job, check, at, value, **fields):
    """Enters a reading."""
    return send(f"/jobs/{job}/readings", check=check, at=at, value=value, **fields)


def test_a_powered_check_asks_once_for_the_state(send, desk, job):
    """Both assurances are needed for the first powered reading, none for the second, and again after work."""
    refused = reading(send, job, "dc volts", "out", "-4.1", drivers_off="yes")
    first = reading(send, job, "dc volts", "out", "-4.1", drivers_off="yes", limited="yes")
    second = reading(send, job, "dc volts", "rail+", "24.1")
    send(f"/jobs/{job}/work", did="cleaned", area="glue")
    after_work = reading(send, job, "dc volts", "out", "0.003")

    assert refused.status_code == 422
    assert "A lamp or a current-limited supply is in series" in refused.text
    assert 'value="-4.1"' in refused.text
    assert [first.status_code, second.status_code, after_work.status_code] == [303, 303, 422]
    assert len(view(desk, job).state.facts) == 4


def test_back_to_unplugged_asks_for_the_discharge(send, job):
    """After power the reservoirs are discharged and verified before a lead goes on."""
    reading(send, job, "dc volts", "out", "-4.1", drivers_off="yes", limited="yes")

    refused = reading(send, job, "ohms", "out", "5.8")
    done = reading(send, job, "ohms", "out", "5.8", discharged="yes")

    assert refused.status_code == 422
    assert "below 5 V" in refused.text
    assert done.status_code == 303


def test_no_driver_is_connected_to_direct_current(send, desk, job):
    """An output that was read with d.c. on it stops the check alone on its page, and nothing is saved."""
    reading(send, job, "dc volts", "out", "-4.1", drivers_off="yes", limited="yes")
    sure = {"dc_read": "yes", "quiet": "yes", "limited": "yes", "state": "drivers connected"}

    stopped = reading(send, job, "dc volts", "out", "-4.1", **sure)
    send(f"/jobs/{job}/work", did="cleaned", area="glue")
    reading(send, job, "dc volts", "out", "0.004", drivers_off="yes", limited="yes")
    connected = reading(send, job, "dc volts", "out", "0.004", **sure)

    assert stopped.status_code == 409
    assert "Stop" in stopped.text
    assert "a driver connected there burns" in stopped.text
    assert "<form" not in stopped.text
    assert connected.status_code == 303
    assert len(view(desk, job).state.facts) == 5
