"""From a photo to the networks' inputs: the detector's square, and the upright square of a person.

Points are in pixels of the photo, x right and y down, pixel centres at half-integers.
"""

from dataclasses import dataclass

import numpy as np
from PIL import Image

DETECTOR_SIDE = 224
POSE_SIDE = 256
# Side of a grid's cell in pixels of the detector's input, and anchors per cell.
ANCHOR_GRIDS = ((8, 2), (16, 2), (32, 6))
# The side of a person's square, in distances from mid-hip to the detector's second point.
REGION_SCALE = 2 * 1.25


@dataclass(frozen=True)
class Square:
    """A turned square in a photo: where its corners come from, and how to go back."""

    photo_from_crop: np.ndarray
    """2 x 3: from crop coordinates (0 to `side`) to pixels of the photo."""
    side: int

    def cut(self, photo: Image.Image) -> np.ndarray:
        """The crop, 1 x side x side x 3 in [0, 1], black outside the photo."""
        # Bilinear sampling looks at 2 x 2 pixels only, so a large photo is first averaged down.
        pixels_per_step = float(np.hypot(*self.photo_from_crop[:, 0]))
        shrink = max(1, int(pixels_per_step))
        small = photo.reduce(shrink) if shrink > 1 else photo
        crop = small.transform(
            (self.side, self.side),
            Image.Transform.AFFINE,
            tuple((self.photo_from_crop / shrink).ravel()),
            Image.Resampling.BILINEAR,
        )
        return np.asarray(crop, np.float32)[None] / 255

    def to_photo(self, points: np.ndarray) -> np.ndarray:
        return points @ self.photo_from_crop[:, :2].T + self.photo_from_crop[:, 2]


def detector_square(photo: Image.Image) -> Square:
    """The whole photo, centred in a square."""
    scale = max(photo.size) / DETECTOR_SIDE
    left, top = ((size - max(photo.size)) / 2 for size in photo.size)
    return Square(np.array([[scale, 0, left], [0, scale, top]]), DETECTOR_SIDE)


def anchor_centres() -> np.ndarray:
    """2254 x 2, in pixels of the detector's input."""
    grids = []
    for stride, per_cell in ANCHOR_GRIDS:
        steps = (np.arange(DETECTOR_SIDE // stride) + 0.5) * stride
        y, x = np.meshgrid(steps, steps, indexing="ij")
        grids.append(np.repeat(np.stack([x, y], -1).reshape(-1, 2), per_cell, axis=0))
    return np.concatenate(grids)


def person_square(boxes: np.ndarray, scores: np.ndarray, square: Square) -> Square:
    """The upright square around the person of the best score."""
    best = int(np.argmax(scores))
    points = boxes.reshape(-1, 6, 2)[best] + anchor_centres()[best]
    mid_hip, tip = square.to_photo(points[[2, 3]])
    up = tip - mid_hip
    side = REGION_SCALE * float(np.hypot(*up))
    down = -up / np.hypot(*up)
    right = np.array([down[1], -down[0]])
    axes = np.stack([right, down], axis=1) * (side / POSE_SIDE)
    origin = mid_hip - axes @ np.full(2, POSE_SIDE / 2)
    return Square(np.column_stack([axes, origin]), POSE_SIDE)
