"""The application: made by a function, so that tests and benches each have their own."""

from __future__ import annotations

import logging
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from importlib.resources import files
from pathlib import Path

from fastapi import FastAPI
from fastapi.responses import FileResponse, Response
from fastapi.staticfiles import StaticFiles

from dustcap import __version__
from dustcap.job.desk import Desk
from dustcap.web.failures import handle_failures
from dustcap.web.guard import Guard
from dustcap.web.hunts import Hunts
from dustcap.web.routers import ROUTERS

LOCAL_HOSTS = ("127.0.0.1", "localhost", "[::1]")
STATIC = Path(__file__).parent / "static"
HTMX = "js_lib_htmx"

log = logging.getLogger("dustcap.web")


def create_app(desk: Desk, *, hosts: Sequence[str] = LOCAL_HOSTS) -> FastAPI:
    """The pages of one bench.

    Parameters
    ----------
    desk : Desk
        The bench folder (made by the first intake), the author of new entries, clock and ids.
    hosts : sequence of str
        Names that the server may be called by; any other is refused.
    """
    hunts = Hunts(desk)

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        yield
        hunts.close()

    app = FastAPI(title="dustcap bench pages", version=__version__, docs_url=None, redoc_url=None, lifespan=lifespan)
    app.state.desk, app.state.hunts = desk, hunts
    for router in ROUTERS:
        app.include_router(router)
    app.add_api_route("/static/htmx.js", _htmx, include_in_schema=False)
    app.mount("/static", StaticFiles(directory=STATIC), name="static")
    app.state.page_paths = frozenset(getattr(route, "path", "") for router in ROUTERS for route in router.routes)
    handle_failures(app)
    app.add_middleware(Guard, hosts=tuple(hosts))
    return app


def _htmx() -> Response:
    """htmx as it lies in its installed package."""
    path = files(HTMX).joinpath("static", "htmx", "htmx.min.js")
    return FileResponse(str(path), media_type="text/javascript", headers={"Cache-Control": "max-age=86400"})
