"""Invented pictures of a board, drawn: both sides, seen by a camera that stands a little aside."""

import io

import numpy as np
from PIL import Image, ImageDraw

WIDTH_MM, HEIGHT_MM = 160.0, 110.0
HOLES = [(4.0, 4.0), (156.0, 4.0), (156.0, 106.0), (4.0, 106.0), (80.0, 60.0)]
CORNERS = [(0.0, 0.0), (WIDTH_MM, 0.0), (WIDTH_MM, HEIGHT_MM), (0.0, HEIGHT_MM)]
SIZE = (1200, 900)


def view(side="component", tilt=0.15, turn=0.06):
    """Homography from millimetres (upward) to pixels (downward) of a drawn picture of that side."""
    flip = 1.0 if side == "component" else -1.0
    c, s = np.cos(turn), np.sin(turn)
    to_middle = np.array([[1, 0, -WIDTH_MM / 2], [0, 1, -HEIGHT_MM / 2], [0, 0, 1.0]])
    plane = np.array([[5.6 * flip * c, 5.6 * s, 0], [5.6 * flip * s, -5.6 * c, 0], [tilt / 200, tilt / 150, 1.0]])
    place = np.array([[1, 0, SIZE[0] / 2], [0, 1, SIZE[1] / 2], [0, 0, 1.0]])
    return place @ plane @ to_middle


def seen(h, point):
    """The pixel at which a place of the board is seen."""
    x, y, w = h @ np.array([*point, 1.0])
    return float(x / w), float(y / w)


def picture(places, side="component", **camera):
    """A drawn picture: laminate, mounting holes, a body or two pads for each part."""
    h = view(side, **camera)
    image = Image.new("RGB", SIZE, "#3c3a36")
    pen = ImageDraw.Draw(image)
    pen.polygon([seen(h, corner) for corner in CORNERS], fill="#9c8a5a" if side == "component" else "#4f7350")
    for name, (x, y) in places.items():
        if side == "component":
            large = name.startswith(("C", "T"))
            half = 4.0 if large else 2.0
            body = [seen(h, (x + dx, y + dy)) for dx, dy in ((-half, -2), (half, -2), (half, 2), (-half, 2))]
            pen.polygon(body, fill="#26221f" if large else "#c9b287", outline="#15120f")
        else:
            for dx in (-2.5, 2.5):
                px, py = seen(h, (x + dx, y))
                pen.ellipse((px - 7, py - 7, px + 7, py + 7), fill="#c8ccd0")
    for hole in HOLES:
        px, py = seen(h, hole)
        pen.ellipse((px - 12, py - 12, px + 12, py + 12), fill="#ffffff", outline="#000000")
    return image


def as_bytes(image, sort="JPEG", **kept):
    """The picture as a file of that sort."""
    stream = io.BytesIO()
    image.save(stream, sort, **kept)
    return stream.getvalue()
