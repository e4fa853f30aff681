"""Arrays survive in a folder, and a spoiled file is as good as none."""

import numpy as np

from dustcap.job.array_folder import ArrayFolder


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
