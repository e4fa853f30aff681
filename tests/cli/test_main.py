"""Every error becomes one line and an exit code; help comes quickly and in the job's order."""

import subprocess
import sys

import pytest
import typer

from dustcap.cli import app as commands
from dustcap.cli.main import main
from dustcap.errors import (
    BoardError,
    DeviceError,
    EvidenceError,
    InputError,
    RecordError,
    SafetyStop,
    SignalError,
    SolveError,
    UnitError,
)

ORDER = ("intake", "complain", "sight", "reading", "work", "stimulus", "show", "bench")


@pytest.fixture
def raising(monkeypatch):
    """Makes the program run one command that raises this."""

    def raising(error):
        app = typer.Typer()

        @app.command()
        def broken() -> None:
            raise error

        monkeypatch.setattr("dustcap.cli.main.app", app)

    return raising


@pytest.mark.parametrize(
    ("error", "code"),
    [
        (InputError, 2),
        (UnitError, 2),
        (BoardError, 2),
        (RecordError, 2),
        (SignalError, 3),
        (SolveError, 3),
        (EvidenceError, 3),
        (DeviceError, 3),
        (SafetyStop, 4),
    ],
)
def test_each_error_of_the_family_has_its_exit_code_and_one_line(raising, capsys, error, code):
    """What, where and how to mend it, on one line of standard error."""
    raising(error("the net floats.", where="main.board.toml:7", mend="Tie\nit down."))

    assert main([]) == code

    out, err = capsys.readouterr()
    assert (out, err) == ("", "dustcap: main.board.toml:7: the net floats. Tie it down.\n")


def test_a_defect_is_logged_and_never_shown(raising, capsys, monkeypatch, tmp_path):
    """An unknown exception ends with exit 1 and one line that names the log; its text is only in the log."""
    log = tmp_path / "defects.log"
    monkeypatch.setenv("DUSTCAP_LOG", str(log))
    raising(KeyError("secret 4711"))

    assert main([]) == 1

    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("dustcap: something broke, nothing was saved.")
    assert str(log) in err
    assert "4711" not in err
    assert "secret 4711" in log.read_text()


def test_a_log_that_cannot_be_written_is_said_so(raising, capsys, monkeypatch, tmp_path):
    """Even then no traceback reaches the user."""
    monkeypatch.setenv("DUSTCAP_LOG", str(tmp_path))
    raising(ZeroDivisionError())

    assert main([]) == 1

    assert "could not be written" in capsys.readouterr().err


def test_stopping_by_keyboard_is_not_a_defect(raising, capsys):
    """Ctrl-C ends quietly with the usual code of an interrupt."""
    raising(KeyboardInterrupt())

    assert main([]) == 130

    assert "stopped" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["telegraph"], "telegraph"),
        (["show"], "job"),
        (["show", "one"], "integer"),
        (["show", "1", "--colour"], "--colour"),
        (["intake", "--model"], "--model"),
    ],
)
def test_a_wrong_command_line_is_refused_in_one_line(refused, words, says):
    """An unknown command or option, a missing or unreadable argument."""
    refused(*words, code=2, says=says)


def test_help_lists_the_commands_in_the_order_of_the_job(run):
    """Intake first, the bench last, and the safety line is there."""
    ran = run("--help")

    assert ran.code == 0
    places = [ran.out.index(f"\n  {name}") for name in ORDER]
    assert places == sorted(places)
    assert "does not replace local codes or a licensed person" in " ".join(ran.out.split())


def test_every_command_and_option_has_help(run):
    """Each command says what it does, and each of its options what it is for."""
    for command in commands.app.registered_commands:
        ran = run(command.name, "--help")
        assert ran.code == 0
        assert (command.callback.__doc__ or "").strip(), command.name
        assert "--json" in ran.out or command.name in ("demo", "serve"), command.name
        for line in ran.out.splitlines():
            words = line.split()
            if words and words[0].startswith("--"):
                assert len(words) > 1, f"{command.name} {line}"


def test_help_loads_nothing_heavy():
    """The numeric and database libraries are loaded by the commands that need them, so that help comes at once."""
    heavy = ("numpy", "scipy", "sqlalchemy", "pydantic", "soundfile", "typst", "schemdraw")
    told = f"import sys, dustcap.cli.app; print([name for name in {heavy} if name in sys.modules])"

    ran = subprocess.run([sys.executable, "-c", told], check=True, capture_output=True, text=True)

    assert ran.stdout.strip() == "[]"
