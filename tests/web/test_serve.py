"""`dustcap serve`: it serves this machine alone, stops when told to, and says why when it cannot."""

import signal
import socket
import urllib.request

import pytest
from web.browser import served

from dustcap.cli.main import main


def test_it_serves_and_stops_when_told_to(tmp_path):
    """The line that it prints names an address that answers; a polite signal ends it with nothing on the way."""
    with served(tmp_path / "bench", tmp_path / "log") as server:
        with urllib.request.urlopen(server.address) as got:
            assert got.status == 200
        server.process.send_signal(signal.SIGINT)
        assert server.process.wait(20) in (0, 130, -signal.SIGINT)
    assert not (tmp_path / "bench").exists()


@pytest.mark.parametrize("port", ["taken", "70000", "-1"])
def test_a_port_that_cannot_be_had_is_said(tmp_path, capsys, port):
    """One line, exit 2."""
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        number = other.getsockname()[1] if port == "taken" else port
        code = main(["serve", str(tmp_path), "--no-open", f"--port={number}"])

    assert code == 2
    (line,) = capsys.readouterr().err.strip().splitlines()
    assert line.startswith("dustcap: --port: port ")


def test_a_file_is_no_bench(tmp_path, capsys):
    """One line that names it, exit 2."""
    (tmp_path / "bench").write_text("")

    assert main(["serve", str(tmp_path / "bench"), "--no-open", "--port=0"]) == 2
    assert "is not a folder" in capsys.readouterr().err
