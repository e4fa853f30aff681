"""The frame around every page: title, navigation, the job it is about; and how a template is filled."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, Any

from fastapi import Depends, Request
from fastapi import Path as InPath
from fastapi.responses import HTMLResponse
from jinja2 import Environment, FileSystemLoader, StrictUndefined

from dustcap.job.desk import Desk, JobView
from dustcap.job.words import fact_said
from dustcap.report.wording import per_cent, quantity
from dustcap.web.guard import FIELD
from dustcap.web.hunts import Hunts

TEMPLATES = Path(__file__).parent / "templates"


@dataclass(frozen=True, slots=True)
class Tab:
    """One place of the navigation; shown once a route of that path exists."""

    key: str
    label: str
    path: str


TABS = (
    Tab("job", "Job", "/jobs/{job}"),
    Tab("board", "Board", "/jobs/{job}/board"),
    Tab("powerup", "Power-up", "/jobs/{job}/powerup"),
    Tab("hunt", "Hunt", "/jobs/{job}/hunt"),
    Tab("sound", "Sound", "/jobs/{job}/sound"),
    Tab("proof", "Proof", "/jobs/{job}/proof"),
    Tab("handover", "Handover", "/jobs/{job}/handover"),
)
SHOP_TABS = (Tab("bench", "Bench", "/"), Tab("boards", "Boards", "/boards"), Tab("shop", "Shop book", "/shop"))


@dataclass(frozen=True, slots=True)
class Link:
    """A navigation entry as it stands on a page."""

    label: str
    href: str
    here: bool


def desk_of(request: Request) -> Desk:
    """The desk that this server works at."""
    desk: Desk = request.app.state.desk
    return desk


def hunts_of(request: Request) -> Hunts:
    """The hunts that are kept ready."""
    hunts: Hunts = request.app.state.hunts
    return hunts


AtDesk = Annotated[Desk, Depends(desk_of)]
WithHunts = Annotated[Hunts, Depends(hunts_of)]
JobNumber = Annotated[int, InPath(ge=1, le=2**31)]


def page(
    request: Request,
    template: str,
    context: object,
    *,
    title: str,
    tab: str = "",
    job: JobView | None = None,
    status: int = 200,
) -> HTMLResponse:
    """A whole page.

    Parameters
    ----------
    request : Request
    template : str
        File below `templates`; it extends ``base.html`` and reads `context` as ``page``.
    context : object
        A frozen dataclass: all that the template may use.
    title : str
        Of the window and of the page.
    tab : str
        Key of the navigation entry that this page belongs to.
    job : JobView, optional
        The job that the page is about; its navigation is shown then.
    status : int
        HTTP status: 200, or 422 for a form that comes back with its mistake.
    """
    paths: frozenset[str] = request.app.state.page_paths
    links = [_link(one, tab, None) for one in SHOP_TABS if one.path in paths]
    if job is not None:
        links += [_link(one, tab, job.number) for one in TABS if one.path in paths]
    text = ENVIRONMENT.get_template(template).render(
        page=context,
        title=title,
        links=links,
        job=job,
        token=request.scope["token"],
        form_token=request.scope["token"],  # a macro that is called token hides the other name
        token_field=FIELD,
    )
    return HTMLResponse(text, status)


def _link(tab: Tab, here: str, job: int | None) -> Link:
    return Link(tab.label, tab.path.format(job=job), tab.key == here)


def _when(at: datetime) -> str:
    """A time as the clock on the wall shows it."""
    return at.astimezone().strftime("%Y-%m-%d %H:%M")


def _stamp(at: datetime) -> str:
    return at.astimezone(UTC).isoformat(timespec="seconds")


def _environment() -> Environment:
    made = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    filters: dict[str, Any] = {
        "when": _when,
        "stamp": _stamp,
        "per_cent": per_cent,
        "quantity": quantity,
        "fact_said": fact_said,
    }
    made.filters.update(filters)
    return made


ENVIRONMENT = _environment()

ANSWERS: dict[int | str, dict[str, Any]] = {
    303: {"description": "Saved; the page to go to stands in Location."},
    403: {"description": "The form came from another site."},
    404: {"description": "There is no such job, entry or file."},
    409: {"description": "A safety stop: a person must act first; nothing was saved."},
    411: {"description": "The size of what is sent was not said."},
    413: {"description": "Too large."},
    422: {"description": "Something typed in is wrong; the page says what, and nothing was saved."},
}
"""What the endpoints answer besides the page itself, for their description."""
