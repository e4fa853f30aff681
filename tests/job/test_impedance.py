"""The document of an impedance: contract, meaning, calibrations, tables, and keeping it with a job."""

import json

import numpy as np
import pytest
import soundfile
from job.test_prove import document as listened
from job.test_prove import keep as keep_listened
from sound.drivers import A, box_load, recorded, speaker, sweep

from dustcap.errors import InputError
from dustcap.job.desk import append, view
from dustcap.job.handover import gather_proof
from dustcap.job.impedance import HowWired, impedance, keep_impedance
from dustcap.job.impedance_files import read_table, write_impedance_stimulus
from dustcap.job.payloads import Complaint, ImpedanceKept, Work
from dustcap.job.prove import prove

DRIVER = speaker(**A, coil="power law")


def taken(path, ohm, *, seed=0, seconds=3.0):
    """A two-channel file of something behind 10 ohm."""
    soundfile.write(path, recorded(ohm, sweep(seconds), seed=seed).T, 48000, subtype="PCM_24")
    return path


def drawn(path, ohm, low=8.0):
    """A table of a curve."""
    hz = np.geomspace(low, 15000, 240)
    rows = zip(hz, np.abs(ohm(hz)), np.degrees(np.angle(ohm(hz))), strict=True)
    path.write_text("Hz,ohm,degrees\n" + "".join(f"{f:.4f},{z:.6f},{d:.5f}\n" for f, z, d in rows), encoding="utf-8")
    return path


def test_the_document_holds_the_contract(tmp_path):
    """Free air: the figures with their ranges, plain JSON, and what was not measured is null."""
    document = impedance(taken(tmp_path / "a.wav", DRIVER.impedance), HowWired(resistor_ohm=10.0, rated_ohm=8.0))

    json.dumps(document, allow_nan=False)
    assert document["layout"] == 1
    assert document["fs_hz"]["value"] == pytest.approx(44.75, rel=0.01)
    assert document["qts"]["low"] < document["qts"]["value"] < document["qts"]["high"]
    assert document["inductance"]["model"] == "lossy"
    assert [document[key] for key in ("fc_hz", "qtc", "box", "mms_g", "vas_l")] == [None] * 5
    assert len(document["curve"]["hz"]) == len(document["curve"]["degrees"]) > 300
    assert document["meaning"] == []


def test_ranges_hold_the_tolerance_of_the_resistor(tmp_path):
    """An exact resistor that is called one per cent less moves ohms, not frequencies or Q; the range allows for it."""
    # GUM 4.3.7: a rectangular half-width a has the standard uncertainty a / sqrt(3)
    path = taken(tmp_path / "a.wav", DRIVER.impedance)
    sharp, usual = (impedance(path, HowWired(resistor_ohm=9.9, resistor_tolerance=t)) for t in (0.0, 0.01))

    assert sharp["re_ohm"]["high"] < A["re"] < usual["re_ohm"]["high"]
    assert usual["re_ohm"]["high"] / usual["re_ohm"]["value"] == pytest.approx(np.exp(1.96 * 0.01 / 3**0.5), rel=2e-4)
    assert [sharp[key] for key in ("fs_hz", "qms", "qes")] == [usual[key] for key in ("fs_hz", "qms", "qes")]
    with pytest.raises(InputError, match="tolerance"):
        impedance(path, HowWired(resistor_ohm=9.9, resistor_tolerance=0.5))


def test_a_leak_against_the_twin_is_said(tmp_path):
    """QL 3.1 against 7: the cabinet leaks."""
    volume = DRIVER.vas / 1.5
    own = drawn(tmp_path / "own.csv", lambda hz: DRIVER.impedance(hz, box_load(hz, volume, fb=45, ql=3.1)))
    twin = drawn(tmp_path / "twin.csv", lambda hz: DRIVER.impedance(hz, box_load(hz, volume, fb=45, ql=7)))

    document = impedance(own, HowWired(box="vented", twin=twin))

    assert document["box"]["leak"] == "yes"
    assert document["meaning"][0]["what"] == "the cabinet leaks"
    assert "QL 3.1 against 7.0" in document["meaning"][0]["why"]
    assert document["fs_hz"] is None


@pytest.mark.parametrize(("ohm", "says"), [
    (lambda hz: 1e6 + 0 * hz, "voice coil open"),
    (lambda hz: 6.05 + DRIVER.blocked(hz), "no resonance"),
])  # fmt: skip
def test_what_carries_no_parameters_is_told_all_the_same(tmp_path, ohm, says):
    """An open coil and a jammed one are answers."""
    document = impedance(taken(tmp_path / "a.wav", ohm), HowWired(resistor_ohm=10.0))

    assert says in document["meaning"][0]["what"]
    assert document["refused"][0]["what"] == "parameters"
    assert document["re_ohm"] is None


def test_both_calibrations_measure_the_resistor(tmp_path):
    """Told 11 ohm, the 10 ohm resistor is measured against a known 8.2 ohm and used as it is."""
    wired = taken(tmp_path / "c.wav", lambda hz: 1e9 + 0 * hz, seed=1)
    known = taken(tmp_path / "k.wav", lambda hz: 8.2 + 0 * hz, seed=2)
    how = HowWired(resistor_ohm=11.0, calibration=wired, known=known, known_ohm=8.2)

    document = impedance(taken(tmp_path / "a.wav", DRIVER.impedance), how)

    assert document["resistor_ohm"] == pytest.approx(10.0, rel=2e-3)
    assert document["re_ohm"]["value"] == pytest.approx(6.05, rel=5e-3)
    assert any("the resistor measures" in one["what"] for one in document["warnings"])


def test_wrong_options_and_files_are_refused(tmp_path):
    """Each mistake has its sentence."""
    table = drawn(tmp_path / "a.csv", DRIVER.impedance)
    mono = tmp_path / "m.wav"
    soundfile.write(mono, np.zeros(48000), 48000)
    (tmp_path / "b.csv").write_text("1,2\nx,y,z\n", encoding="utf-8")

    with pytest.raises(InputError, match="needs the resistor"):
        impedance(mono, HowWired())
    with pytest.raises(InputError, match="one channel"):
        impedance(mono, HowWired(resistor_ohm=10.0))
    with pytest.raises(InputError, match="belong together"):
        impedance(table, HowWired(added_kg=0.01))
    with pytest.raises(InputError, match="free air"):
        impedance(table, HowWired(box="closed", added_kg=0.01, added=table))
    with pytest.raises(InputError, match="not Hz, ohm, degrees"):
        read_table(tmp_path / "b.csv")
    with pytest.raises(InputError, match="does not end in"):
        write_impedance_stimulus(tmp_path / "p.mp3")


def test_a_table_of_other_countries_is_read(tmp_path):
    """Semicolons between and commas within the numbers."""
    path = tmp_path / "a.csv"
    path.write_text("f;Z;phase\n20,5;8,1;10\n40;30;-5\n80;9;-20\n", encoding="utf-8")

    hz, ohm = read_table(path)

    assert hz.tolist() == [20.5, 40.0, 80.0]
    assert np.abs(ohm).tolist() == pytest.approx([8.1, 30, 9])


def test_it_is_kept_with_the_job(tmp_path, desk, job):
    """File and document are kept by hash, and the entry says which driver and when."""
    path = drawn(tmp_path / "a.csv", DRIVER.impedance)

    kept = keep_impedance(desk, job, path, "before", HowWired(), "woofer")

    entry = view(desk, job).state.last(ImpedanceKept)
    assert (entry.name, entry.when, entry.driver, entry.box) == ("a.csv", "before", "woofer", "")
    with desk.open() as bench, bench.read() as read:
        assert read.content(entry.file) == path.read_bytes()
        assert json.loads(read.content(entry.result)) == json.loads(json.dumps(kept.document))


def vented(path, ql):
    """A table of the driver in its vented box with these losses."""
    return drawn(path, lambda hz: DRIVER.impedance(hz, box_load(hz, DRIVER.vas / 1.5, fb=45, ql=ql)))


def test_a_leak_that_was_measured_is_a_complaint_and_its_cure_a_verdict(tmp_path, desk, job):
    """The leak enters the hunt once, with its figures; after the work the curve passes, and the sheet says both."""
    twin = vented(tmp_path / "twin.csv", 7)
    leaky, tight = vented(tmp_path / "leaky.csv", 3.1), vented(tmp_path / "tight.csv", 6.8)
    how = HowWired(box="vented", twin=twin)

    kept = keep_impedance(desk, job, leaky, "before", how, "woofer")
    again = keep_impedance(desk, job, leaky, "before", how, "woofer")
    append(desk, job, Work(did="resoldered", part="gasket"))
    keep_listened(desk, job, "after", listened())
    unseen = prove(desk, job)
    keep_impedance(desk, job, tight, "after", how, "woofer")
    proven = prove(desk, job)

    (leak,) = [one for one in view(desk, job).state.all(Complaint)]
    assert (leak.word, leak.seen, leak.recording) == ("air leak", True, kept.entry)
    assert "3.1 against 7.0" in leak.measured
    assert again.complaints == ()
    assert any(line.startswith("impedance") for line in unseen.not_measured)
    (row,) = [one for one in proven.verdicts if one["what"] == "impedance, woofer"]
    assert row["verdict"] == "pass"
    assert "held against twin.csv" in row["why"]
    assert not any(line.startswith("impedance") for line in proven.not_measured)
    said = gather_proof(desk, job).impedance
    assert said == "Before the work, woofer: the cabinet leaks; after the work, woofer: nothing found."


def test_an_open_coil_after_the_work_fails_the_proof(tmp_path, desk, job):
    """Open before: no output is a complaint. Open after: the proof fails."""
    coil = taken(tmp_path / "open.wav", lambda hz: 1e6 + 0 * hz)
    how = HowWired(resistor_ohm=10.0)

    keep_impedance(desk, job, coil, "before", how)
    keep_listened(desk, job, "after", listened())
    keep_impedance(desk, job, coil, "after", how)
    proven = prove(desk, job)

    assert [one.word for one in view(desk, job).state.all(Complaint)] == ["no output"]
    (row,) = [one for one in proven.verdicts if one["what"] == "impedance"]
    assert row["verdict"] == "fail"
    assert row["why"].startswith("voice coil open")
    assert proven.overall == "fail"
