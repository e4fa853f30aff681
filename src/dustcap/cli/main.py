"""The program: runs a command, and turns every error into one line and an exit code.

Exit codes: 0 done; 2 the input is wrong; 3 the input is right and there is no answer; 4 a safety stop; 1 a defect of
ours; 130 stopped by the user.
"""

from __future__ import annotations

import os
import sys
import warnings
from collections.abc import Sequence
from io import TextIOWrapper
from pathlib import Path

import typer

from dustcap.cli.app import app
from dustcap.errors import DeviceError, DustcapError, EvidenceError, SafetyStop, SignalError, SolveError

DONE, BROKEN, WRONG_INPUT, NO_ANSWER, STOP_FOR_SAFETY, STOPPED = 0, 1, 2, 3, 4, 130
NO_ANSWERS = (SignalError, SolveError, EvidenceError, DeviceError)
ONE_THREAD = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
"""Read when numpy is loaded, by the first command that computes: small matrices are slower on several threads."""
LOG_VARIABLE = "DUSTCAP_LOG"


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command line; returns the exit code."""
    for name in ONE_THREAD:
        os.environ.setdefault(name, "1")
    if argv is None and not sys.warnoptions:
        warnings.simplefilter("ignore")  # warnings of libraries are for developers
    for stream in (sys.stdout, sys.stderr):
        if argv is None and isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="replace")  # a terminal without these letters shows question marks
    try:
        code = app(args=None if argv is None else list(argv), prog_name="dustcap", standalone_mode=False)
        sys.stdout.flush()
    except BrokenPipeError:
        # whoever read our output has gone; nothing more can be said there
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except typer.Abort:
        code = STOPPED
    except typer.TyperException as error:
        return _say(f"{_one_line(error.format_message()).rstrip('.')}. See `dustcap --help`.", WRONG_INPUT)
    except DustcapError as error:
        return _say(_one_line(str(error)), _exit_code(error))
    except Exception:
        return _say(f"something broke, nothing was saved. {_logged()}", BROKEN)
    if code == STOPPED:
        return _say("stopped; what was acknowledged before is kept", STOPPED)
    return int(code or DONE)


def _exit_code(error: DustcapError) -> int:
    if isinstance(error, SafetyStop):
        return STOP_FOR_SAFETY
    return NO_ANSWER if isinstance(error, NO_ANSWERS) else WRONG_INPUT


def _say(line: str, code: int) -> int:
    print(f"dustcap: {line}", file=sys.stderr)
    return code


def _one_line(text: str) -> str:
    return " ".join(text.split())


def _logged() -> str:
    """Write the traceback of the defect to the log file; says where."""
    import tempfile
    import traceback

    path = Path(os.environ.get(LOG_VARIABLE) or Path(tempfile.gettempdir()) / "dustcap.log")
    try:
        with path.open("a", encoding="utf-8") as log:
            log.write(traceback.format_exc() + "\n")
    except OSError:
        return f"The details could not be written to {path}; {LOG_VARIABLE} names another file."
    return f"The details are in {path}; please report it."


if __name__ == "__main__":
    sys.exit(main())
