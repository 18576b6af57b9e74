"""The pinhole camera and how a body stands before it.

World axes: x to the right of the picture, y away from the camera, z up; metres.
The subject's origin (mid-ankle on the floor) is the world's, the camera stands at
(0, -distance, height) and looks along +y before pitch and roll.
"""

import math

import numpy as np

FULL_FRAME_DIAGONAL_MM = 43.267


def focal_px(f35, width, height):
    """35-mm-equivalent focal length in pixels, by the diagonal rule."""
    return f35 / FULL_FRAME_DIAGONAL_MM * math.hypot(width, height)


def camera_axes(pitch_deg, roll_deg):
    """Right, up and forward of the camera in the world.

    Positive pitch looks up; positive roll turns the camera clockwise as seen
    from behind it.
    """
    p, r = math.radians(pitch_deg), math.radians(roll_deg)
    right = np.array([1.0, 0.0, 0.0])
    up = np.array([0.0, -math.sin(p), math.cos(p)])
    forward = np.array([0.0, math.cos(p), math.sin(p)])
    return (
        math.cos(r) * right - math.sin(r) * up,
        math.cos(r) * up + math.sin(r) * right,
        forward,
    )


def project(points, camera, width, height):
    """Pixels of world points; the top-left pixel's centre is (0.5, 0.5)."""
    right, up, forward = camera_axes(camera["pitch_deg"], camera["roll_deg"])
    eye = np.array([0, -camera["distance_m"], camera["height_m"]])
    ray = np.asarray(points) - eye
    depth = ray @ forward
    x = width / 2 + camera["focal_px"] * (ray @ right) / depth
    y = height / 2 - camera["focal_px"] * (ray @ up) / depth
    return np.stack([x, y], axis=-1)


def body_axes(view, side, turn_deg):
    """The body's forward and left in the world, seen in `view` and turned.

    The body axis that points to the right of the picture lies along
    (cos turn, sin turn) in (right, away); the one that faces the camera along
    (sin turn, -cos turn). In the oblique view the body faces halfway between
    the side view's way and the camera.
    """
    t = math.radians(turn_deg)
    rightward = np.array([math.cos(t), math.sin(t), 0.0])
    nearward = np.array([math.sin(t), -math.cos(t), 0.0])
    forward = {
        ("side", "right"): rightward,
        ("side", "left"): -rightward,
        ("front", ""): nearward,
        ("back", ""): -nearward,
        ("oblique", "right"): (rightward + nearward) / math.sqrt(2),
        ("oblique", "left"): (nearward - rightward) / math.sqrt(2),
    }[view, side]
    return forward, np.array([-forward[1], forward[0], 0.0])
