"""Command lines run inside the test's own process."""

import json
from dataclasses import dataclass

import pytest

from dustcap.cli.main import main


@dataclass(frozen=True)
class Ran:
    """What a command line gave."""

    code: int
    out: str
    err: str

    @property
    def json(self):
        """The document on standard output, which must be all there is; refuses NaN and Infinity."""

        def refuse(word):
            raise AssertionError(f"{word} in the JSON document")

        return json.loads(self.out, parse_constant=refuse)


@pytest.fixture
def run(capsys, monkeypatch, tmp_path, tmp_path_factory):
    """Runs `dustcap` with these words on a bench folder of the test's own."""
    monkeypatch.setenv("DUSTCAP_FOLDER", str(tmp_path / "bench"))
    monkeypatch.setenv("DUSTCAP_AUTHOR", "bench 1")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path_factory.getbasetemp() / "cache"))
    monkeypatch.setenv("DUSTCAP_LOG", str(tmp_path / "dustcap.log"))

    def run(*words):
        capsys.readouterr()
        code = main([str(word) for word in words])
        return Ran(code, *capsys.readouterr())

    return run


@pytest.fixture
def refused(run, tmp_path):
    """Runs words that must be refused: that exit code, one clear line, nothing on standard output, nothing written."""

    def refused(*words, code, says):
        before = sorted(tmp_path.rglob("*"))
        ran = run(*words)
        assert ran.code == code, ran
        assert ran.out == ""
        (line,) = ran.err.strip().splitlines()
        assert line.startswith("dustcap: ")
        for word in (says,) if isinstance(says, str) else says:
            assert word in line
        assert "Traceback" not in line
        assert len(line) < 1000
        assert sorted(tmp_path.rglob("*")) == before
        return ran

    return refused
