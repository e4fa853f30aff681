"""Describing a board: blocks of the library, their nets and values, single parts, and the sheet at once."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from dustcap.errors import InputError
from dustcap.job.block_forms import (
    PORT,
    SET,
    SINGLE_KINDS,
    BlockChoice,
    BlockForm,
    Description,
    KindForm,
    description,
    form_on,
    kind_form,
    library_choices,
)
from dustcap.job.block_preview import Preview, preview_on
from dustcap.job.describe import (
    adjust_block,
    confirm_block,
    put_block,
    put_part,
    set_part,
    take_block,
    take_part,
)
from dustcap.job.desk import Desk
from dustcap.job.sheet import Figure
from dustcap.report.figures import bounds, middle
from dustcap.web.board_pages import Stem, Word
from dustcap.web.board_work import Found, work_of
from dustcap.web.frame import ANSWERS, AtDesk, page
from dustcap.web.guard import checked
from dustcap.web.mistakes import Mistake

router = APIRouter(dependencies=[Depends(checked)], default_response_class=HTMLResponse, responses=ANSWERS)

SHEET_WAIT_S = 1.5
LONGEST = 200


async def _fields(request: Request) -> Mapping[str, str]:
    """All text fields of a form, cut to a sensible length."""
    form = await request.form()
    return {key: value[:LONGEST].strip() for key, value in form.items() if isinstance(value, str)}


Fields = Annotated[Mapping[str, str], Depends(_fields)]


Figures = tuple[str, str]
"""A middle value and its bounds, in words."""


@dataclass(frozen=True, slots=True)
class SheetRow:
    """What a good board reads at one net of the block, whose own nets are named without the block."""

    net: str
    dc: Figures
    ohms: Figures
    level: Figures


@dataclass(frozen=True, slots=True)
class BlockSheet:
    """The sheet of a block: `waiting` while it is computed; what stands in for the rest of the board."""

    rows: tuple[SheetRow, ...]
    stand_ins: tuple[str, ...]
    whole: bool
    waiting: bool
    problem: str = ""


@dataclass(frozen=True, slots=True)
class DescribePage:
    """Everything `describe.html` may use."""

    found: Description
    choices: tuple[BlockChoice, ...]
    kinds: tuple[str, ...]
    form: BlockForm | None = None
    new: bool = False
    sheet: BlockSheet | None = None
    kind: KindForm | None = None
    mistake: Mistake | None = None

    @property
    def astray(self) -> bool:
        """Whether the mistake is about no field that this page shows, so that its line stands at the top."""
        shown = {line.name for line in self.found.own_parts}
        if self.form is not None:
            shown |= {"name", "block", *(line.field for line in self.form.ports)}
            shown |= {line.field for line in self.form.settings} | {line.name for line in self.form.parts}
        if self.kind is not None:
            shown |= {
                "name",
                "kind",
                *(field for _, field, _ in self.kind.pins),
                *(key.field for key in self.kind.keys),
            }
        return self.mistake is not None and self.mistake.field not in shown


@router.get("/boards/{stem}/describe")
def describe(
    request: Request, desk: AtDesk, stem: Stem, block: Word = "", new: Word = "", part: Word = ""
) -> HTMLResponse:
    """How far the description is, and the form of one block, of a new one, or of a single part."""
    return _show(request, desk, stem, block=block, new=new, part=part)


@router.post("/boards/{stem}/blocks", status_code=303)
def block_put(request: Request, desk: AtDesk, stem: Stem, fields: Fields) -> Response:
    """Puts a block of the library onto the board."""
    origin, name = fields.get("origin", ""), fields.get("name", "")
    return _done(
        request,
        desk,
        stem,
        fields,
        lambda: put_block(desk, stem, origin, name, fields),
        {"block": name},
        {"new": origin},
    )


@router.post("/boards/{stem}/blocks/adjust", status_code=303)
def block_adjusted(request: Request, desk: AtDesk, stem: Stem, fields: Fields) -> Response:
    """Sets nets and values of a block; or confirms it as it is, or takes it away."""
    name, act = fields.get("block", ""), fields.get("act", "")
    here = {"block": name}
    if act == "take":
        return _done(request, desk, stem, fields, lambda: take_block(desk, stem, name), {}, here)
    if act == "confirm":
        return _done(request, desk, stem, fields, lambda: confirm_block(desk, stem, name), here, here)
    return _done(request, desk, stem, fields, lambda: adjust_block(desk, stem, name, fields), here, here)


@router.post("/boards/{stem}/parts", status_code=303)
def part_put(request: Request, desk: AtDesk, stem: Stem, fields: Fields) -> Response:
    """Puts a single part onto the board."""
    kind, name = fields.get("kind", ""), fields.get("name", "")
    nets = {key.removeprefix(PORT): value for key, value in fields.items() if key.startswith(PORT)}
    values = {key.removeprefix(SET): value for key, value in fields.items() if key.startswith(SET)}
    return _done(
        request,
        desk,
        stem,
        fields,
        lambda: put_part(desk, stem, name, kind, nets, values),
        {},
        {"part": kind if kind in SINGLE_KINDS else ""},
    )


@router.post("/boards/{stem}/parts/value", status_code=303)
def part_set(request: Request, desk: AtDesk, stem: Stem, fields: Fields) -> Response:
    """Sets or confirms the value of one part, or takes a single part away."""
    block, part, text = fields.get("block", ""), fields.get("part", ""), fields.get("value", "")
    here = {"block": block} if block else {}
    if fields.get("act") == "take":
        return _done(request, desk, stem, fields, lambda: take_part(desk, stem, part), here, here)
    return _done(request, desk, stem, fields, lambda: set_part(desk, stem, part, text), here, here)


def _done(
    request: Request,
    desk: Desk,
    stem: str,
    fields: Mapping[str, str],
    act: Callable[[], object],
    there: Mapping[str, str],
    back: Mapping[str, str],
) -> Response:
    """Onward when it is saved, or the same form with the line beside its field."""
    try:
        act()
    except InputError as error:
        line = f"{error.what[:1].upper()}{error.what[1:]} {error.mend}".strip()
        mistake = Mistake("describe", line, error.where, fields)
        return _show(request, desk, stem, **back, mistake=mistake)
    query = f"?{urlencode(there)}" if there else ""
    return RedirectResponse(f"/boards/{stem}/describe{query}", 303)


def _show(
    request: Request,
    desk: Desk,
    stem: str,
    *,
    block: str = "",
    new: str = "",
    part: str = "",
    mistake: Mistake | None = None,
) -> HTMLResponse:
    sheet = None
    if block:
        preview = preview_on(desk, stem, block)
        found = work_of(request).look("preview", preview.text, lambda progress: preview.compute(), wait_s=SHEET_WAIT_S)
        sheet = _sheet(preview, found)
    context = DescribePage(
        description(desk, stem),
        library_choices(),
        SINGLE_KINDS,
        form_on(desk, stem, block=block, origin=new) if block or new else None,
        bool(new and not block),
        sheet,
        kind_form(desk, stem, part) if part else None,
        mistake,
    )
    title = f"Describe {context.found.title}"
    return page(request, "describe.html", context, title=title, tab="boards", status=422 if mistake else 200)


def _sheet(preview: Preview, found: Found) -> BlockSheet:
    rows = []
    if found.value is not None:
        nets = found.value.sheet.nets
        for net in preview.nets:
            one = nets.get(net)
            if one is not None and net != preview.board.common:
                name = net.removeprefix(f"{preview.block}-")
                rows.append(
                    SheetRow(name, *map(_said, (one.dc_volts, one.ohms_red_here, one.level), ("V", "ohm", "V")))
                )
    problem = str(found.error) if found.error is not None else ""
    return BlockSheet(tuple(rows), preview.stand_ins, not preview.stand_ins, found.running, problem)


def _said(figure: Figure, unit: str) -> Figures:
    return middle(figure, unit), bounds(figure, unit)
