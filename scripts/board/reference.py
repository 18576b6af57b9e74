"""Writes boards seen by cameras drawn at random, and what OpenCV makes of them."""

import argparse
import json
import platform
from importlib.metadata import version
from pathlib import Path

import cv2
import numpy as np

# Width and height of all that is black, mm, and the tags' numbers from the top.
SIZE = (112.0, 238.0)
IDS = (572, 289)
# Squares along a tag.
MODULES = 8


def rotation(axis, degrees):
    return cv2.Rodrigues(np.radians(degrees) * np.eye(3)["xyz".index(axis)])[0]


def outline():
    x, y = SIZE[0] / 2, SIZE[1] / 2
    return np.array([[-x, y], [x, y], [x, -y], [-x, -y]])


def camera(rng, tilt):
    """A picture's size, a focal length, and the board's pose; x right, y down, z away."""
    width, height = (600, 800) if rng.random() < 0.5 else (3024, 4032)
    focal = width * rng.uniform(0.8, 1.3)
    signs = rng.choice([-1, 1], 2)
    turn, pitch = signs * rng.uniform(*tilt, 2)
    roll = rng.uniform(-8, 8)
    rotated = (
        rotation("z", roll)
        @ rotation("x", pitch)
        @ rotation("y", turn)
        @ np.diag([1.0, -1.0, -1.0])
    )
    away = rng.uniform(1500, 4000)
    place = np.array([rng.uniform(-0.3, 0.3), rng.uniform(-0.3, 0.3), 1.0]) * away
    matrix = np.array([[focal, 0, width / 2], [0, focal, height / 2], [0, 0, 1]])
    return (width, height), matrix, rotated, place


def seen(points, matrix, rotated, place, noise, rng):
    whole = np.column_stack([points, np.zeros(len(points))])
    at, _ = cv2.projectPoints(whole, cv2.Rodrigues(rotated)[0], place, matrix, None)
    return at.reshape(-1, 2) + rng.normal(0, noise, (len(points), 2))


def homography_case(rng):
    _, matrix, rotated, place = camera(rng, (0, 35))
    count = int(rng.integers(4, 17))
    points = outline()
    if count > 4:
        inside = rng.uniform(-0.5, 0.5, (count - 4, 2)) * SIZE
        points = np.vstack([points, inside])
    pixels = seen(points, matrix, rotated, place, rng.uniform(0, 1), rng)
    # findHomography works in single precision.
    points = points.astype(np.float32).astype(float)
    pixels = pixels.astype(np.float32).astype(float)
    found, _ = cv2.findHomography(points, pixels, 0)
    mapped = cv2.perspectiveTransform(outline()[None], found)[0]
    return {
        "face": points.tolist(),
        "seen": pixels.tolist(),
        "outline": mapped.tolist(),
    }


def stance(rotated, place):
    """Camera against a board that hangs plumb: its long edge is up."""
    along, up = rotated[:, 0], rotated[:, 1]
    axis = np.array([0.0, 0.0, 1.0])
    away = axis - (axis @ up) * up
    away /= np.linalg.norm(away)
    right = np.cross(-up, away)
    return {
        "away": float(away @ place),
        "aside": float(right @ place),
        "lens_above": float(-(up @ place)),
        "pitch": float(np.arcsin(up @ axis)),
        "roll": float(np.arctan2(-right[1], right[0])),
        "turn": float(np.arctan2(away @ along, right @ along)),
    }


def pose_case(rng):
    """Tilted well, so that only one pose explains the picture."""
    while True:
        size, matrix, rotated, place = camera(rng, (8, 30))
        points = outline()
        pixels = seen(points, matrix, rotated, place, 0.002, rng)
        whole = np.column_stack([points, np.zeros(4)])
        count, turns, places, errors = cv2.solvePnPGeneric(
            whole, pixels, matrix, None, flags=cv2.SOLVEPNP_IPPE
        )
        if count == 2 and errors[1] < 10 * errors[0]:
            continue
        turned, placed = cv2.solvePnPRefineLM(
            whole, pixels, matrix, None, turns[0], places[0]
        )
        return {
            "size": size,
            "focal": float(matrix[0, 0]),
            "seen": pixels.tolist(),
            "stance": stance(cv2.Rodrigues(turned)[0], placed.ravel()),
        }


def pattern(number):
    """Which squares of a tag are white."""
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    picture = cv2.aruco.generateImageMarker(family, number, MODULES)
    return (picture > 127).tolist()


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path, help="the JSON file to write")
    parser.add_argument("--seed", type=int, default=2011)
    args = parser.parse_args()
    rng = np.random.default_rng(args.seed)
    whole = {
        "versions": {"python": platform.python_version()}
        | {name: version(name) for name in ["numpy", "opencv-python-headless"]},
        "seed": args.seed,
        "patterns": {str(number): pattern(number) for number in IDS},
        "homographies": [homography_case(rng) for _ in range(60)],
        "poses": [pose_case(rng) for _ in range(60)],
    }
    args.out.write_text(json.dumps(whole, separators=(",", ":")) + "\n")


if __name__ == "__main__":
    main()
