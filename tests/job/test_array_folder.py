"""Arrays survive in a folder, and a spoiled file is as good as none."""

import os

import numpy as np
import pytest

from dustcap.job import predictions
from dustcap.job.array_folder import ArrayFolder, ArrayMemory


def test_an_array_comes_back_from_a_new_process_bit_for_bit(tmp_path):
    """What one mapping wrote, another reads."""
    array = np.arange(12, dtype=np.complex64).reshape(3, 4)
    ArrayFolder(tmp_path / "new")["volts of C:/\\"] = array

    got = ArrayFolder(tmp_path / "new")["volts of C:/\\"]

    np.testing.assert_array_equal(got, array)
    assert got.dtype == array.dtype


def test_a_spoiled_file_counts_as_missing(tmp_path):
    """A truncated file is no answer and no error."""
    ArrayFolder(tmp_path)["a"] = np.ones(100)
    file = next(tmp_path.glob("*.npy"))
    file.write_bytes(file.read_bytes()[:40])

    assert "a" not in ArrayFolder(tmp_path)


def test_a_folder_that_cannot_be_written_still_serves_this_run(tmp_path):
    """The array is there although nothing could be kept."""
    blocked = tmp_path / "file"
    blocked.write_text("not a folder")
    kept = ArrayFolder(blocked)

    kept["a"] = np.ones(3)

    np.testing.assert_array_equal(kept["a"], np.ones(3))


@pytest.mark.parametrize("make", [lambda _: ArrayMemory(), ArrayFolder])
def test_what_is_kept_is_the_same_with_and_without_a_folder(make, tmp_path):
    """Double precision becomes single, in memory as on disk; other types stay."""
    kept = make(tmp_path)
    kept["volts"], kept["gain"], kept["solved"] = np.array([1 / 3]), np.array([1j / 3]), np.array([True])

    assert [kept[label].dtype for label in ("volts", "gain", "solved")] == [np.float32, np.complex64, bool]
    assert kept["volts"][0] == np.float32(1 / 3)


def test_the_place_goes_by_what_the_program_says_and_not_by_when_it_was_written(monkeypatch, tmp_path):
    """A copy of the program with new times keeps the name; one changed letter in a numeric room gives another."""
    root = tmp_path / "dustcap"
    for room in predictions.ROOMS:
        (root / room).mkdir(parents=True)
        (root / room / "law.py").write_text(f"# {room}\n")
    monkeypatch.setattr(predictions.dustcap, "__file__", str(root / "__init__.py"))

    def name():
        predictions._program.cache_clear()
        return predictions._program()

    first = name()
    os.utime(root / "circuit" / "law.py", (1, 1))
    assert name() == first
    (root / "circuit" / "law.py").write_text("# circuiT\n")
    assert name() != first
    monkeypatch.undo()
    predictions._program.cache_clear()
