"""What a clinic adds to a photo, and what it might be taken for: board, stickers, coloured things."""

import numpy as np

import board
import stickers
from cast import generator
from clothes import Piece


def board_of(hung, placed, camera, size):
    """The board's pieces and its truth; `hung` is the scenario's."""
    forward, left, up = np.array(hung["at_mm"]) / 1000
    middle = placed.in_world(np.array([left, -forward, up]))
    things = [
        Piece(name, vertices, faces, "matte", colour=colour)
        for name, colour, vertices, faces in board.pieces(middle, hung["turn_deg"])
    ]
    corners = board.outline_pixels(middle, hung["turn_deg"], camera, size)
    return things, {
        "at": hung["at_mm"],
        "turn_deg": hung["turn_deg"],
        "toward_camera_mm": hung["toward_camera_mm"],
        "corners": [[round(float(v), 3) for v in corner] for corner in corners],
    }


def of_photo(photo, person, placed, pieces, camera, size, wall_at, seed):
    """Things to render beside the subject's own pieces, and their truth by name."""
    things, found = [], {}
    if "board" in photo:
        things, found["board"] = board_of(photo["board"], placed, camera, size)
    if aids := person.get("aids"):
        surface = stickers.Surface(placed, pieces)
        dots = stickers.worn(surface, aids["stickers"], placed)
        things += [dot.piece for dot in dots.values()]
        hiding = stickers.tree_of(*pieces)
        found["stickers"] = stickers.truth_of(dots, placed, hiding, aids["stickers"]["diameter_mm"], camera, size)
        things += stickers.decoys(surface, aids["decoys"], wall_at, generator(seed, person["code"], "decoys"))
    return things, found
