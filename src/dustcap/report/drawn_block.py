"""A drawn block as SVG: its stages in the order of the signal, side by side while they fit, then its supply."""

from __future__ import annotations

from dataclasses import dataclass

from dustcap.job.drawn_blocks import DrawnBlock
from dustcap.report.drawn_block_canvas import DEEP_TONE, FADED_TONE, INK_TONE, Canvas
from dustcap.report.drawn_block_hung import pin_box, pin_pair
from dustcap.report.drawn_block_push_pull import push_pull
from dustcap.report.drawn_block_stage import Drafter
from dustcap.report.drawn_block_supply import SupplyDrafter
from dustcap.report.drawn_block_symbols import INK, NONE
from dustcap.report.drawn_block_symbols import PAPER as CLEAR
from dustcap.report.drawn_block_tiles import cut
from dustcap.report.svg import DEEP, PAPER, Drawing
from dustcap.report.svg import FADED as GREY
from dustcap.report.svg import INK as BLACK

WIDTH, LAID = 757.0, 810.0
"""The text width of an A4 page on its side, 267 mm in points; how wide a drawing is laid out, to be made to fit."""
APART, MARGIN = 16.0, 4.0
TONES = {INK_TONE: BLACK, FADED_TONE: GREY, DEEP_TONE: DEEP}
WIRE, BODY, FINE = 0.9, 1.3, 0.9


@dataclass(frozen=True, slots=True)
class BlockDrawing:
    """The drawing of one block: everything on it, and its size in points."""

    canvas: Canvas
    width: float
    height: float


def draw_block(block: DrawnBlock, width: float = LAID) -> BlockDrawing:
    """Lay out a block within a width; a stage that is wider makes the drawing wider."""
    planned = push_pull(block)
    if planned is not None:
        west, north, east, south = planned.extent()
        tall, wide = south - north + 2 * MARGIN, east - west + 2 * MARGIN
        return BlockDrawing(planned.moved(MARGIN - west, MARGIN - north), wide, tall)
    pieces = cut(block)
    drawn, left = [], list(pieces.stages)
    while left:
        drafter = Drafter(left.pop(0), pieces)
        drawn.append(drafter.draw())
        left = drafter.rest() + left
    if pieces.supply.hubs or pieces.supply.strands:
        supply = SupplyDrafter(pieces.supply, pieces.nets)
        drawn += [piece for piece in (supply.draw(), *supply.rest()) if piece.wires or piece.bodies]
    said = {text.words for piece in drawn for text in piece.texts}
    for part in (part for part in block.parts if part.name not in said):
        # what no rule above has a place for is still on the drawing, between the names of its nets
        drawn.append((pin_pair if len(part.pins) == 2 else pin_box)(part, pieces.nets))
    shelves: list[list[tuple[Canvas, float, float]]] = []  # pieces with their width and height
    for number, piece in enumerate(drawn):
        west, top, east, bottom = piece.extent()
        entry = piece.moved(-west, -top), east - west, bottom - top
        # the supply, which comes last, may stand at the end of any row; a stage only after the one before it
        open_rows = shelves if number >= len(pieces.stages) else shelves[-1:]
        rows = (row for row in open_rows if _long(row) + APART + entry[1] <= width - 2 * MARGIN)
        shelf = next(rows, None)
        if shelf is None:
            shelves.append([entry])
        else:
            shelf.append(entry)
    whole, y = Canvas(), MARGIN
    for row in shelves:
        x = MARGIN
        for piece, wide, _ in row:
            _join(whole, piece.moved(x, y))
            x += wide + APART
        y += max(tall for _, _, tall in row) + APART
    return BlockDrawing(whole, max(map(_long, shelves)) + 2 * MARGIN, y - APART + MARGIN)


def _long(row: list[tuple[Canvas, float, float]]) -> float:
    return sum(wide for _, wide, _ in row) + APART * (len(row) - 1)


def block_svg(block: DrawnBlock, width: float = LAID) -> str:
    """The drawing of a block as SVG text."""
    return drawing_svg(block, draw_block(block, width))


def drawing_svg(block: DrawnBlock, found: BlockDrawing) -> str:
    """What was laid out for a block, as SVG text."""
    out = Drawing(found.width, found.height, block.name, ", ".join(f"{p.name} {p.value}".strip() for p in block.parts))
    paint(found.canvas, out)
    return out.svg()


def paint(canvas: Canvas, out: Drawing) -> None:
    """Wires, then symbols over them, then dots and texts."""
    for _, start, end in canvas.wires:
        out.line(start, end, width=WIRE)
    for stroke in canvas.strokes:
        pen = FINE if stroke.thin else BODY
        if stroke.fill == NONE:
            out.path(stroke.points, width=pen)
        else:
            out.path(stroke.points, width=pen, fill={INK: BLACK, CLEAR: PAPER}[stroke.fill])
    for dot in canvas.dots():
        out.dot(dot, 1.7)
    for text in canvas.texts:
        out.text(text.at, text.words, size=text.size, anchor=text.anchor, fill=TONES[text.tone], bold=text.bold)


def _join(whole: Canvas, piece: Canvas) -> None:
    for name in ("strokes", "bodies", "wires", "frames", "texts"):
        getattr(whole, name).extend(getattr(piece, name))
