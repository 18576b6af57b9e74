"""The scale board: what is printed on it, where it hangs, its pieces and corners.

World axes as in camera.py; metres, but for the board's face, which is in
millimetres from its middle, x right and y up as one looks at it.
"""

import math

import numpy as np

from camera import project

MODULE = 14
TAG = 8 * MODULE
GAP = MODULE
# Numbers 572 and 289 of the published list of AprilTag 36h11 (Wang & Olson 2016): # is black, the top row first.
TAGS = (
    (
        "########",
        "####.###",
        "#.#...##",
        "##...###",
        "##..#.##",
        "#....###",
        "######.#",
        "########",
    ),
    (
        "########",
        "##..####",
        "#..#..##",
        "##..#..#",
        "#####.##",
        "##.#.###",
        "####.###",
        "########",
    ),
)
# All that is black, and the sheet of card around it (A4).
WIDTH, HEIGHT = TAG, len(TAGS) * TAG + (len(TAGS) - 1) * GAP
SHEET = (210, 297)
CARD_MM = 3.0
# Of the picture's width and height, kept free at its edges.
MARGIN = 0.01


def rectangle(left, top, width, height):
    """Corners on the board's face: top left, then clockwise."""
    right, bottom = left + width, top - height
    return np.array([(left, top), (right, top), (right, bottom), (left, bottom)], float)


def centred(width, height):
    return rectangle(-width / 2, height / 2, width, height)


def black_squares():
    """Corners of everything black, row by row; squares that touch are one."""
    for number, tag in enumerate(TAGS):
        top = HEIGHT / 2 - number * (TAG + GAP)
        for row, squares in enumerate(tag):
            start = 0
            while (start := squares.find("#", start)) >= 0:
                end = start + len(squares[start:]) - len(squares[start:].lstrip("#"))
                yield rectangle(start * MODULE - WIDTH / 2, top - row * MODULE, (end - start) * MODULE, MODULE)
                start = end


def axes(turn_deg):
    """The board's right and the way it faces, level both, as `turn_deg` in camera.py."""
    t = math.radians(turn_deg)
    return np.array([math.cos(t), math.sin(t), 0.0]), np.array([math.sin(t), -math.cos(t), 0.0])


def on_board(face, middle, turn_deg, raised_mm=0.0):
    """World points of places on the face of a plumb board, `raised_mm` before it."""
    right, toward = axes(turn_deg)
    face = np.asarray(face, float) / 1000
    return middle + face[:, :1] * right + face[:, 1:] * (0, 0, 1) + raised_mm / 1000 * toward


def outline_pixels(middle, turn_deg, camera, size):
    """Pixels of the corners of all that is black: top left, then clockwise as one looks at it."""
    return project(on_board(centred(WIDTH, HEIGHT), middle, turn_deg), camera, *size)


def _slab(face, middle, turn_deg, front_mm, back_mm):
    corners = [on_board(face, middle, turn_deg, depth) for depth in (front_mm, back_mm)]
    sides = [(k, (k + 1) % 4, (k + 1) % 4 + 4, k + 4) for k in range(4)]
    return np.concatenate(corners), [(0, 3, 2, 1), (4, 5, 6, 7), *sides]


def pieces(middle, turn_deg):
    """(name, colour, vertices, faces) of the board and the stand that it hangs from."""
    yield "card", (0.78, 0.78, 0.76), *_slab(centred(*SHEET), middle, turn_deg, -0.2, -CARD_MM)
    squares = list(black_squares())
    ink = np.concatenate([on_board(s, middle, turn_deg) for s in squares])
    yield "ink", (0.018, 0.018, 0.02), ink, [tuple(range(4 * k + 3, 4 * k - 1, -1)) for k in range(len(squares))]
    steel = (0.35, 0.35, 0.36)
    up_mm = 1000 * middle[2]
    top = SHEET[1] / 2 + 110
    yield "pole", steel, *_slab(rectangle(-5, top, 10, top + up_mm), middle, turn_deg, -38, -48)
    yield "hook", steel, *_slab(rectangle(-3, top, 6, 6), middle, turn_deg, 0, -48)
    yield "string", (0.6, 0.58, 0.5), *_slab(rectangle(-0.8, top, 1.6, 112), middle, turn_deg, -0.7, -2.3)
    yield "foot", steel, *_slab(rectangle(-90, 12 - up_mm, 180, 12), middle, turn_deg, 40, -140)


def hips_of(placed):
    """The middle between the hip joints, in the world."""
    return placed.in_world((placed.posed.points["hip_joint_left"] + placed.posed.points["hip_joint_right"]) / 2)


def hang(placed, camera, size, rng):
    """A place for the board beside the hip, clear of the body and inside the picture.

    `at_mm` is its middle in the body frame, `turn_deg` the way it faces as the
    camera's turn_deg, `toward_camera_mm` how far it hangs before the middle of
    the hip joints along the body axis that faces the camera.
    """
    rightward, nearward = axes(camera["turn_deg"])
    toward, gap = rng.uniform(0, 0.15), rng.uniform(60, 110)
    turn_deg = camera["turn_deg"] + rng.normal(0, 4)
    level = hips_of(placed) + toward * nearward + (0, 0, rng.normal(0, 0.015))
    body = project(placed.in_world(placed.posed.vertices), camera, *size)
    free = centred(SHEET[0] + 2 * gap, SHEET[1] + 2 * gap)
    edge = MARGIN * np.array(size)
    first = 1 if rng.random() < 0.5 else -1
    for way in (first, -first):
        for off in np.arange(0.15, 1.2, 0.01):
            middle = level + way * off * rightward
            around = project(on_board(free, middle, turn_deg), camera, *size)
            low, high = around.min(axis=0), around.max(axis=0)
            if ((body > low) & (body < high)).all(axis=1).any():
                continue
            sheet = project(on_board(centred(*SHEET), middle, turn_deg), camera, *size)
            if (sheet > edge).all() and (sheet < np.array(size) - edge).all():
                return {
                    "at_mm": [float(v) for v in placed.body_mm(middle)],
                    "turn_deg": turn_deg,
                    "toward_camera_mm": 1000 * toward,
                }
            break
    raise ValueError("the board finds no place beside the hip")
