"""Where the camera stands, which square of its photo the net sees, and what is true in it."""

from dataclasses import dataclass
from functools import lru_cache

import torch

from pose import Draw

# The net's settings in the order of its one-hot input.
VIEWS = ("side", "front", "back")
CROPS = ("trunk", "head")
SETTINGS = len(VIEWS) * len(CROPS)

# The direction of the body that points to the picture's right, in each view: forwards, to the
# subject's left, to the subject's right. In a side view the subject faces the picture's right.
RIGHT_END = torch.tensor([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [-1.0, 0.0, 0.0]])
# Where the camera stands around the body in each view, degrees: 0 in front, -90 at its right.
AROUND = torch.tensor([-90.0, 0.0, 180.0])

# Share of each view: the side view bears most measures.
VIEW_SHARES = torch.tensor([0.60, 0.27, 0.13])


@dataclass
class Camera:
    """Pinhole cameras (B) and the square crop of each: `rotation` has rows right, down, forward."""

    position: torch.Tensor
    rotation: torch.Tensor
    centre: torch.Tensor
    scale: torch.Tensor
    depth: torch.Tensor
    size: int

    @property
    def millimetres_per_pixel(self):
        """At the depth of the body's middle (B,)."""
        return 1000 * self.depth / self.scale

    def seen_from(self, points):
        """Points (B, N, 3) of the world in the camera's axes."""
        return (points - self.position[:, None]) @ self.rotation.transpose(1, 2)

    def project(self, points):
        """Pixels of the crop (B, N, 2) and depth along the axis (B, N)."""
        seen = self.seen_from(points)
        depth = seen[..., 2]
        flat = seen[..., :2] / depth[..., None].clamp_min(0.05)
        pixels = (flat - self.centre[:, None]) * self.scale[:, None, None] + self.size / 2
        return pixels, depth


def flat(vectors):
    """The horizontal part of vectors (B, 3), as unit vectors."""
    level = torch.cat([vectors[..., :2], torch.zeros_like(vectors[..., 2:])], -1)
    return torch.nn.functional.normalize(level, dim=-1)


def place(body, bare, landmarks, reaching, generator, size=256):
    """Draws a camera, a view and a crop for each body of `bare` skin (B, V, 3).

    Returns the camera, the view (B,) and the crop (B,) as indices into VIEWS and CROPS.
    """
    draw = Draw(len(bare), generator)
    device = bare.device
    shares, where_around, _ = tables(device)
    view = torch.multinomial(shares, draw.count, True, generator=generator)
    crop = (torch.rand(draw.count, device=device, generator=generator) < 0.5).long()
    at = body.landmark_names.index

    def both(name):
        return landmarks[:, [at(name + "_left"), at(name + "_right")]].mean(1)

    middle = (both("shoulder_joint") + both("hip_joint")) / 2
    floor = bare[..., 2].amin(1)
    stature = body_height(body, bare, landmarks)

    turn = draw.either(0.75, draw.uniform(-13, 13), draw.normal(0, 12)).clamp(-32, 32)
    around = torch.deg2rad(where_around[view] + turn)
    distance = draw.uniform(1.6, 4.6)
    position = torch.stack(
        [
            middle[:, 0] + torch.sin(around) * distance,
            middle[:, 1] - torch.cos(around) * distance,
            floor + draw.uniform(0.6, 1.75),
        ],
        -1,
    )
    # Held towards the middle of what has to be in the picture, but not exactly, nor level.
    aim = torch.where(reaching, draw.normal(1.0, 0.15), draw.normal(0.85, 0.15)) + floor
    ahead = flat(middle - position)
    swing = torch.deg2rad(draw.normal(0, 5))
    right = torch.stack([ahead[:, 1], -ahead[:, 0], 0 * swing], -1)
    ahead = torch.cos(swing)[:, None] * ahead + torch.sin(swing)[:, None] * right
    pitch = draw.uniform(0.3, 1.1) * torch.atan2(aim - position[:, 2], distance)
    pitch = pitch + torch.deg2rad(draw.normal(0, 2))
    roll = torch.deg2rad(draw.either(0.9, draw.normal(0, 2), draw.normal(0, 5)))
    rotation = axes(ahead, pitch, roll)

    camera = Camera(position, rotation, torch.zeros_like(position[:, :2]),
                    torch.ones_like(distance), torch.ones_like(distance), size)  # fmt: skip
    camera.depth = camera.seen_from(middle[:, None])[:, 0, 2]
    seen = camera.seen_from(landmarks)
    seen = seen[..., :2] / seen[..., 2:]
    centre, side = trunk_square(body, seen, draw)
    head_centre, head_side = head_square(body, seen, stature / camera.depth, draw)
    is_head = crop == CROPS.index("head")
    camera.centre = torch.where(is_head[:, None], head_centre, centre)
    camera.scale = size / torch.where(is_head, head_side, side)
    return camera, view, crop


def axes(ahead, pitch, roll):
    """Camera rotations (B, 3, 3) that look along `ahead` (level), pitched up and rolled clockwise."""
    up = torch.zeros_like(ahead)
    up[:, 2] = 1
    forward = torch.cos(pitch)[:, None] * ahead + torch.sin(pitch)[:, None] * up
    right = torch.nn.functional.normalize(torch.cross(forward, up, dim=-1), dim=-1)
    down = torch.cross(forward, right, dim=-1)
    cosine, sine = torch.cos(roll)[:, None], torch.sin(roll)[:, None]
    return torch.stack([cosine * right + sine * down, cosine * down - sine * right, forward], 1)


def body_height(body, bare, landmarks):
    """Height standing, metres, by the length of trunk and legs: a raised arm does not add to it."""
    at = body.landmark_names.index
    notch = landmarks[:, at("sternal_notch"), 2]
    return (notch - bare[..., 2].amin(1)) / 0.815


def trunk_square(body, seen, draw):
    """Around ears, shoulders, elbows, hips, and wrists raised above the shoulders; as the general
    pose net's points would have it, which are somewhat off."""
    at = body.landmark_names.index
    pairs = ("tragus", "shoulder_joint", "elbow", "hip_joint", "wrist")
    points = torch.stack(
        [seen[:, at(f"{name}_{side}")] for name in pairs for side in ("left", "right")], 1
    )
    shoulders, wrists = points[:, 2:4], points[:, 8:10]
    raised = wrists[..., 1:] < shoulders[..., 1:]
    points = torch.cat([points[:, :8], torch.where(raised, wrists, shoulders)], 1)
    low, high = points.amin(1), points.amax(1)
    side = 1.36 * (high - low).amax(1)
    centre = (low + high) / 2
    centre = centre - torch.stack([0 * side, 0.02 * side], -1)
    centre = centre + draw.normal(0, 0.035, 2) * side[:, None]
    return centre, side * torch.exp(draw.normal(0, 0.11).clamp(-0.22, 0.25))


def head_square(body, seen, stature, draw):
    """Between ears and shoulders, a third of the stature wide."""
    at = body.landmark_names.index
    ears = seen[:, [at("tragus_left"), at("tragus_right")]].mean(1)
    shoulders = seen[:, [at("shoulder_joint_left"), at("shoulder_joint_right")]].mean(1)
    side = 0.32 * stature * torch.exp(draw.normal(0, 0.11).clamp(-0.25, 0.25))
    centre = (ears + shoulders) / 2 + draw.normal(0, 0.05, 2) * side[:, None]
    return centre, side


# How far a landmark may lie behind the surface that the camera sees and still count as seen,
# metres: joints lie inside the body, and seen from the side the midline lies behind the near half
# of the back, at whose outline it is.
SEEN_WITHIN = {"elbow": 0.075, "wrist": 0.06, "shoulder_joint": 0.10, "hip_joint": 0.14,
               "trochanter": 0.05, "acromion": 0.045}  # fmt: skip
SURFACE = 0.03
MIDLINE_FROM_THE_SIDE = 0.15


@lru_cache(maxsize=1)
def seen_within(body):
    """The allowance of each landmark in each view (3, 23)."""
    names = body.landmark_names
    allowed = torch.tensor([SEEN_WITHIN.get(name.rsplit("_", 1)[0], SURFACE) for name in names])
    allowed = allowed.repeat(len(VIEWS), 1)
    midline = torch.tensor([not name.endswith(("_left", "_right")) for name in names])
    allowed[VIEWS.index("side"), midline] = MIDLINE_FROM_THE_SIDE
    return allowed.to(body.template.device)


@lru_cache(maxsize=1)
def tables(device):
    """Shares of the views, where the camera stands in each, and which end is to the right there;
    made once a device, since making a tensor waits for the GPU."""
    return VIEW_SHARES.to(device), AROUND.to(device), RIGHT_END.to(device)


def visible(body, camera, view, landmarks, picture):
    """Which landmarks (B, 23) lie in the crop with nothing before them."""
    pixels, depth = camera.project(landmarks)
    inside = in_picture(pixels, camera.size)
    scale = picture.depth.shape[-1] / camera.size
    sample = torch.arange(len(pixels), device=pixels.device)[:, None]

    def at(grid, scale):
        cell = (pixels * scale).long().clamp(0, grid.shape[-1] - 1)
        return grid[sample, cell[..., 1], cell[..., 0]]

    surface = at(picture.depth, scale) + seen_within(body)[view]
    return inside & (depth < surface) & ~at(picture.occluded, 1)


def in_picture(pixels, size, margin=1.0):
    return ((pixels >= margin) & (pixels < size - margin)).all(-1)


def turns(body, camera, view, landmarks, posed):
    """Apparent turn of trunk and head (B, 2), radians: how far the body's end that points to the
    picture's right is turned away from the camera, seen along the ray to the body's middle."""
    at = body.landmark_names.index
    names = [f"{n}_{s}" for n in ("shoulder_joint", "hip_joint") for s in ("left", "right")]
    middle = landmarks[:, [at(name) for name in names]].mean(1)
    away = flat(middle - camera.position)
    right = torch.stack([away[:, 1], -away[:, 0], 0 * away[:, 2]], -1)
    _, _, right_end = tables(view.device)
    end = right_end[view]
    head = (posed.rotations[:, body.names.index("head")] @ end[..., None])[..., 0]

    def turn(direction):
        direction = flat(direction)
        return torch.atan2((direction * away).sum(-1), (direction * right).sum(-1))

    return torch.stack([turn(end), turn(head)], -1)
