"""A program that is killed in mid-write loses nothing that it acknowledged."""

import random
import sqlite3
import subprocess
import sys
import time

from dustcap.records.bench import open_bench

WRITER = """
import sys
from datetime import UTC, datetime
from pathlib import Path
from dustcap.records.bench import open_bench

AT = datetime(2026, 3, 1, tzinfo=UTC)
bench = open_bench(Path(sys.argv[1]), create=True)
with bench.write() as write:
    unit = write.add_unit(write.add_model("model 27"), "room 1 left")
    job = write.add_job(sys.argv[2], unit, None, AT)
print("job", job, flush=True)
n = 0
while True:
    with bench.write() as write:
        hash_ = write.add_file(f"{n}.wav", f"{sys.argv[2]} {n} ".encode() * 3000, AT)
        for half in ("first", "second"):
            write.add_entry(job, "note", {"n": n, "half": half, "file": hash_}, author="x", at=AT)
    print("kept", n, flush=True)
    n += 1
"""
KILLS = 8
SEED = 27


def run_and_kill(folder, uid, kept, after_s):
    """Start a writer and kill it outright a while after `kept` acknowledgements; its job and last acknowledgement."""
    command = [sys.executable, "-c", WRITER, str(folder), uid]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as writer:
        lines = [writer.stdout.readline() for _ in range(1 + kept)]
        time.sleep(after_s)
        writer.kill()  # SIGKILL: no clean-up of any kind runs
        lines += writer.stdout.read().splitlines()
    whole = [line.split() for line in lines if line.startswith("kept")]
    return int(lines[0].split()[1]), int(whole[-1][1])


def test_every_acknowledged_entry_survives_a_kill_and_none_is_half_written(tmp_path):
    """After each of several kills all acknowledged pairs are there, complete, in order, with their files."""
    rng = random.Random(SEED)
    acknowledged = 0
    for kill in range(KILLS):
        job, last = run_and_kill(tmp_path, f"{kill:032d}", 1 + kill, rng.uniform(0.0, 0.05))

        with open_bench(tmp_path) as bench, bench.read() as read:
            entries = read.entries(job)
            for entry in entries:
                read.content(entry.payload["file"])
        pairs = [(entry.payload["n"], entry.payload["half"]) for entry in entries]
        assert len(pairs) % 2 == 0
        assert pairs == [(n, half) for n in range(len(pairs) // 2) for half in ("first", "second")]
        assert len(pairs) // 2 >= last + 1
        acknowledged += last + 1

    with sqlite3.connect(tmp_path / "bench.sqlite3") as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    connection.close()
    assert acknowledged >= sum(range(1, KILLS + 1))  # the kills did fall into the writing
