"""Files by their content's hash: whole, kept once, checked on reading."""

import hashlib
import os

import pytest

from dustcap.errors import RecordError
from dustcap.records.files import FileStore, write_whole

# FIPS 180-4 (NIST, 2015), example "abc" of the secure hash standard's published test values
ABC_SHA256 = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_a_file_is_named_by_its_sha_256(tmp_path):
    """The hash of the published example is the name under which it is kept."""
    store = FileStore(tmp_path)

    assert store.keep(b"abc") == ABC_SHA256
    assert store.read(ABC_SHA256) == b"abc"


def test_equal_content_is_kept_once(tmp_path):
    """Keeping the same recording twice leaves one file and nothing half-written."""
    store = FileStore(tmp_path)

    assert store.keep(b"x" * 1000) == store.keep(b"x" * 1000)
    assert [path.name for path in tmp_path.rglob("*") if path.is_file()] == [hashlib.sha256(b"x" * 1000).hexdigest()]


@pytest.mark.parametrize("damage", [b"y" + b"x" * 999, b"x" * 999, b""])
def test_a_damaged_file_is_not_handed_out(tmp_path, damage):
    """Changed, cut short or emptied: reading says so."""
    store = FileStore(tmp_path)
    hash_ = store.keep(b"x" * 1000)
    store.path(hash_).write_bytes(damage)

    with pytest.raises(RecordError, match="not what was kept"):
        store.read(hash_)


def test_keeping_again_mends_a_file_that_was_cut_short(tmp_path):
    """A file of the wrong length is written anew when its content comes by again."""
    store = FileStore(tmp_path)
    hash_ = store.keep(b"x" * 1000)
    store.path(hash_).write_bytes(b"x" * 10)

    store.keep(b"x" * 1000)

    assert store.read(hash_) == b"x" * 1000


def test_a_missing_file_and_a_wrong_hash_are_refused(tmp_path):
    """A path cannot be smuggled in as a hash."""
    store = FileStore(tmp_path)

    with pytest.raises(RecordError, match="cannot be read"):
        store.read("0" * 64)
    for wrong in ("../../etc/passwd", "0" * 63, "G" * 64, ""):
        with pytest.raises(RecordError, match="not the hash"):
            store.read(wrong)


def test_a_write_that_fails_leaves_the_old_file(tmp_path, monkeypatch):
    """When the rename cannot be made, the old content stands and no temporary file is left."""
    path = tmp_path / "out.json"
    write_whole(path, b"old")

    def refuse(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", refuse)
    with pytest.raises(RecordError, match="No space left"):
        write_whole(path, b"new")

    assert path.read_bytes() == b"old"
    assert os.listdir(tmp_path) == ["out.json"]
