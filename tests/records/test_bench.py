"""Entries in order, kept as they were written, all of a unit of work or nothing of it."""

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta, timezone

import pytest

from dustcap.errors import RecordError
from dustcap.records.bench import open_bench

AT = datetime(2026, 3, 1, 9, 30, tzinfo=UTC)


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request):
    """Nothing for the record in the folder, or the address of an empty database."""
    return request.getfixturevalue("database") if request.param == "postgresql" else ""


@pytest.fixture
def bench(tmp_path, url):
    with open_bench(tmp_path / "bench 100%", create=True, url=url) as bench:
        yield bench


def add_job(write, uid="a" * 32):
    """A job on an invented unit; its number."""
    unit = write.add_unit(write.add_model("model 27"), "room 1 left")
    return write.add_job(uid, unit, None, AT)


def note(write, job, text, corrects=None):
    """One note in a job; its position."""
    return write.add_entry(job, "note", {"text": text}, author="bench 1", at=AT, corrects=corrects)


def test_entries_come_back_in_order_as_they_were_written(bench):
    """What was written is read back whole: order, author, time, kind, payload and what it corrects."""
    with bench.write() as write:
        job = add_job(write)
        note(write, job, "erste Prüfung: 22 kΩ")
        note(write, job, "second", corrects=1)

    with bench.read() as read:
        first, second = read.entries(job)

    assert (first.position, first.payload, first.corrects) == (1, {"text": "erste Prüfung: 22 kΩ"}, None)
    assert (second.position, second.author, second.kind, second.corrects) == (2, "bench 1", "note", 1)
    assert second.at == AT


def test_each_job_counts_its_own_entries(bench):
    """Two jobs each have an entry 1."""
    with bench.write() as write:
        first, second = add_job(write), add_job(write, "b" * 32)
        places = [note(write, job, "x") for job in (first, second, first)]

    assert places == [1, 1, 2]


def test_a_time_in_another_zone_is_kept_as_utc(bench):
    """Half past eleven in a zone two hours ahead is half past nine in UTC; a time without a zone is refused."""
    there = datetime(2026, 3, 1, 11, 30, tzinfo=timezone(timedelta(hours=2)))
    with bench.write() as write:
        job = add_job(write)
        write.add_entry(job, "note", {}, author="x", at=there)

    with bench.read() as read:
        assert read.entries(job)[0].at == AT
        assert read.entries(job)[0].at.utcoffset() == timedelta(0)
    with pytest.raises(RecordError, match="without a zone"), bench.write() as write:
        write.add_entry(job, "note", {}, author="x", at=datetime(2026, 3, 1))


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE entries SET payload = '{}'",
        "UPDATE entries SET position = 9",
        "DELETE FROM entries",
        "INSERT OR REPLACE INTO entries VALUES (1, 1, 'now', 'x', 'note', '{}', NULL)",
        "TRUNCATE entries",
    ],
)
def test_the_database_itself_refuses_to_change_an_entry(bench, url, statement):
    """Not even plain SQL changes, replaces or removes an entry."""
    if statement.startswith("TRUNCATE" if not url else "INSERT OR"):
        return  # not a statement of this database
    with bench.write() as write:
        job = add_job(write)
        note(write, job, "kept")

    with pytest.raises(RecordError, match="an entry"), bench.write() as write:
        write.connection.exec_driver_sql(statement)

    with bench.read() as read:
        assert [entry.payload for entry in read.entries(job)] == [{"text": "kept"}]


@pytest.mark.parametrize(
    "row", ["(1, 3, 'now', 'x', 'note', '{}', NULL)", "(1, 2, 'now', 'x', 'note', '[1]', NULL)"], ids=["gap", "list"]
)
def test_an_entry_out_of_turn_or_without_an_object_is_refused(bench, row):
    """A gap in the positions, or a payload that is not an object, does not get in."""
    with bench.write() as write:
        note(write, add_job(write), "first")

    with pytest.raises(RecordError, match="follows the last one"), bench.write() as write:
        write.connection.exec_driver_sql(f"INSERT INTO entries VALUES {row}")


@pytest.mark.parametrize("corrects", [1, 5])
def test_a_correction_of_nothing_earlier_is_refused(bench, corrects):
    """A correction names an entry before it in the same job."""
    with bench.write() as write:
        add_job(write)

    with pytest.raises(RecordError, match="refuses"), bench.write() as write:
        note(write, 1, "x", corrects=corrects)


def test_an_entry_of_no_job_is_refused(bench):
    """Foreign keys are on."""
    with pytest.raises(RecordError, match=r"(?i)foreign key"), bench.write() as write:
        note(write, 7, "x")


def test_a_unit_of_work_that_breaks_leaves_nothing(bench):
    """An error half way through takes back what came before it."""
    with bench.write() as write:
        job = add_job(write)
    with pytest.raises(RecordError), bench.write() as write:
        note(write, write.job(note(write, job, "half") + 98).id, "never reached")

    with bench.read() as read:
        assert read.entries(job) == ()


def test_not_a_number_cannot_be_kept(bench):
    """A payload is plain finite JSON."""
    with bench.write() as write:
        job = add_job(write)

    with pytest.raises(RecordError, match="JSON"), bench.write() as write:
        write.add_entry(job, "reading", {"value": float("nan")}, author="x", at=AT)


def test_models_units_and_boards_are_made_once(bench):
    """The same name gives the same row, and the same board text the same version."""
    with bench.write() as write:
        model = write.add_model("model 27")
        one = write.add_board(model, "main", "C", b"layout = 1\n", AT)

        assert write.add_model("model 27") == model
        assert write.add_unit(model, "left") == write.add_unit(model, "left")
        assert write.add_unit(model, "left") != write.add_unit(model, "right")
        assert write.add_board(model, "main", "C", b"layout = 1\n", AT) == one
        assert write.add_board(model, "main", "C", b"layout = 1 # more\n", AT) != one


def test_a_job_keeps_the_board_version_it_was_started_with(bench):
    """A later version of the board does not move into a job that is under way."""
    with bench.write() as write:
        model = write.add_model("model 27")
        unit = write.add_unit(model, "left")
        board = write.add_board(model, "main", "C", b"layout = 1\n", AT)
        job = write.add_job("a" * 32, unit, board, AT)
        write.add_board(model, "main", "C", b"layout = 1 # later\n", AT)

    with bench.read() as read:
        kept = read.job(job)
        assert kept.board.revision == "C"
        assert read.content(kept.board.hash) == b"layout = 1\n"
        assert (kept.model, kept.unit) == ("model 27", "left")


def test_two_open_benches_write_in_turn(bench, url):
    """A second program on the same folder adds its entries after those of the first."""
    with bench.write() as write:
        job = add_job(write)
    with open_bench(bench.folder, url=url) as other:
        for turn in range(4):
            with (bench, other)[turn % 2].write() as write:
                note(write, job, str(turn))

    with bench.read() as read:
        assert [entry.payload["text"] for entry in read.entries(job)] == ["0", "1", "2", "3"]


def test_a_missing_bench_job_or_file_is_said_so(bench, tmp_path):
    """What is not there is named, with what to do."""
    with pytest.raises(RecordError, match="no bench in this folder"):
        open_bench(tmp_path / "nowhere")
    assert not (tmp_path / "nowhere").exists()
    with bench.read() as read:
        with pytest.raises(RecordError, match="no job 9"):
            read.job(9)
        with pytest.raises(RecordError, match="no file"):
            read.file("0" * 64)


def test_a_file_that_is_not_a_record_is_refused(tmp_path):
    """Something else under the record's name is neither read nor overwritten."""
    path = tmp_path / "bench.sqlite3"
    path.write_bytes(b"not a database at all, but long enough to look at" * 30)
    before = path.read_bytes()

    with pytest.raises(RecordError, match="cannot be read"):
        open_bench(tmp_path, create=True)

    assert path.read_bytes() == before


def test_look_ups_see_one_state_while_another_bench_writes(bench, url):
    """What is written meanwhile is seen by the next look-up only."""
    with bench.write() as write:
        job = add_job(write)
        note(write, job, "first")
    with open_bench(bench.folder, url=url) as other, bench.read() as read:
        assert len(read.entries(job)) == 1
        with other.write() as write:
            note(write, job, "second")
        assert len(read.entries(job)) == 1

    with bench.read() as read:
        assert len(read.entries(job)) == 2


def test_benches_that_write_at_the_same_time_lose_nothing(bench, url):
    """Four writers, twenty entries each, on one job: all are there, each once, in an unbroken order."""
    with bench.write() as write:
        job = add_job(write)

    def work(name):
        with open_bench(bench.folder, url=url) as own:
            for number in range(20):
                with own.write() as write:
                    note(write, job, f"{name} {number}")

    with ThreadPoolExecutor(4) as pool:
        list(pool.map(work, "abcd"))

    with bench.read() as read:
        found = read.entries(job)
    assert [entry.position for entry in found] == list(range(1, 81))
    assert sorted(entry.payload["text"] for entry in found) == sorted(f"{n} {k}" for n in "abcd" for k in range(20))
