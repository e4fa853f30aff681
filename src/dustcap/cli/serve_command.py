"""The bench pages: starts the server on this machine and opens the browser."""

from __future__ import annotations

import logging
import os
import socket
import tempfile
import threading
import webbrowser
from pathlib import Path
from typing import Annotated

import typer

from dustcap.cli.edge import Author, desk, remark
from dustcap.errors import InputError

HOST = "127.0.0.1"
PORT = 8027
STOP_S = 3
LOG_VARIABLE = "DUSTCAP_LOG"


def serve(
    folder: Annotated[
        Path | None,
        typer.Argument(help="folder of the bench (default: one in your home)", metavar="[FOLDER]"),
    ] = None,
    port: Annotated[int, typer.Option(help="port on this machine; 0: any free one")] = PORT,
    open_browser: Annotated[bool, typer.Option("--open/--no-open", help="open the browser")] = True,
    author: Author = "",
) -> None:
    """Serve the bench pages on this machine."""
    import uvicorn

    from dustcap.web.app import create_app

    named = os.environ.get("DUSTCAP_FOLDER")
    at = desk(folder or (Path(named) if named else None), author)
    if at.folder.exists() and not at.folder.is_dir():
        raise InputError("is not a folder.", where=str(at.folder), mend="Name the folder of a bench, or a new one.")
    listening = _listen(port)
    address = f"http://{HOST}:{listening.getsockname()[1]}/"
    _log_to_file()
    server = uvicorn.Server(
        uvicorn.Config(
            create_app(at), log_level="warning", access_log=False, timeout_graceful_shutdown=STOP_S, lifespan="on"
        )
    )
    remark(f"dustcap serves the bench in {at.folder} at {address} (Ctrl-C stops it)")
    if open_browser:
        threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()
    with listening:
        server.run(sockets=[listening])


def _listen(port: int) -> socket.socket:
    """A socket on this machine alone.

    Raises
    ------
    InputError
        If the port is taken or not to be had.
    """
    made = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        if os.name != "nt":  # there it would let two servers share a port
            made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        made.bind((HOST, port))
        made.listen()  # so that a browser that is quicker than the server waits instead of being refused
    except (OSError, OverflowError) as error:
        made.close()
        said = getattr(error, "strerror", None) or str(error)
        raise InputError(
            f"port {port} cannot be used: {said}.",
            where="--port",
            mend="Name another port, 0 for any free one; or is dustcap serving already?",
        ) from error
    return made


def _log_to_file() -> None:
    """Defects of the pages go to the same file as those of the commands."""
    path = Path(os.environ.get(LOG_VARIABLE) or Path(tempfile.gettempdir()) / "dustcap.log")
    try:
        handler = logging.FileHandler(path, encoding="utf-8", delay=True)
    except OSError:
        return
    handler.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(message)s"))
    logging.getLogger("dustcap.web").addHandler(handler)
