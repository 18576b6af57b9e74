"""Pictures of random people with the truth in them, made batch by batch on one device."""

from dataclasses import dataclass

import numpy as np
import torch

import camera as cameras
from camera import CROPS, SETTINGS, VIEWS
from pose import Draw, pose
from studio import Studio
from wardrobe import Wardrobe

# An arm raised farther than this is a reach, as in the program.
REACH = 45.0


@dataclass
class Truth:
    """What is true in a batch of pictures."""

    place: torch.Tensor  # (B, L, 2) pixels
    inside: torch.Tensor  # (B, L) in the picture
    visible: torch.Tensor  # (B, L) and nothing before it
    turn: torch.Tensor  # (B, 2) radians, trunk and head
    setting: torch.Tensor  # (B, 6) one-hot
    millimetres: torch.Tensor  # (B,) per pixel

    def only(self, keep):
        return Truth(**{name: value[keep] for name, value in vars(self).items()})


class Scenes:
    def __init__(self, body, backgrounds, seed, size=256, supersample=2):
        self.body = body
        self.generator = torch.Generator(device=body.template.device)
        self.generator.manual_seed(seed)
        self.size = size
        tragus = [name.startswith("tragus") for name in body.landmark_names]
        self.is_tragus = torch.tensor(tragus, device=body.template.device)
        self.wardrobe = Wardrobe(body, self.generator)
        pictures = torch.from_numpy(np.load(backgrounds)["pictures"])
        self.studio = Studio(body, pictures, self.generator, supersample)

    @torch.no_grad()
    def draw(self, count, held_out=False):
        """Pictures (count, 3, size, size) from 0 to 1, and the truth of them."""
        body = self.body
        rest, heads = body.shapes(count, self.generator, held_out)
        posed, arms = pose(body, heads, self.generator)
        dressed = self.wardrobe.dress(rest, heads, posed)
        landmarks = body.landmarks(rest, heads, posed)
        reaching = torch.stack([arm.elevation for arm in arms.values()]).amax(0) > REACH
        camera, view, crop = cameras.place(
            body, dressed.bare, landmarks, reaching, self.generator, self.size
        )
        picture = self.studio.photograph(dressed, camera)
        pixels, _ = camera.project(landmarks)
        visible = cameras.visible(body, camera, view, landmarks, picture)
        visible &= ~(dressed.ears_covered[:, None] & self.is_tragus)
        setting = torch.nn.functional.one_hot(view + len(VIEWS) * crop, SETTINGS).float()
        return picture.image, Truth(
            place=pixels,
            inside=cameras.in_picture(pixels, self.size),
            visible=visible,
            turn=cameras.turns(body, camera, view, landmarks, posed),
            setting=setting,
            millimetres=camera.millimetres_per_pixel,
        )


def setting_names():
    return [f"{view} {crop}" for crop in CROPS for view in VIEWS]


def again(image, truth, mirrored_order, generator):
    """The same pictures moved, turned in their plane, scaled, relit, and front and back views
    mirrored now and then: a second use of a dear render."""
    count, _, size, _ = image.shape

    draw = Draw(count, generator)
    angle, scale = draw.normal(0, 0.05), torch.exp(draw.uniform(-0.14, 0.12))
    side_view = truth.setting[:, 0] + truth.setting[:, len(VIEWS)] > 0
    mirror = draw.chance(0.5) & ~side_view
    sign = torch.where(mirror, -1.0, 1.0)
    cosine, sine = torch.cos(angle) * scale, torch.sin(angle) * scale
    shift = draw.uniform(-0.09, 0.09, 2)
    before_from_after = torch.stack(
        [
            torch.stack([cosine * sign, -sine, shift[:, 0]], -1),
            torch.stack([sine * sign, cosine, shift[:, 1]], -1),
        ],
        1,
    )
    grid = torch.nn.functional.affine_grid(before_from_after, image.shape, align_corners=False)
    moved = torch.nn.functional.grid_sample(
        image, grid, mode="bilinear", padding_mode="border", align_corners=False
    )
    linear, offset = before_from_after[:, :, :2], before_from_after[:, :, 2]
    normalised = truth.place / (size / 2) - 1 - offset[:, None]
    place = (normalised @ torch.linalg.inv(linear).transpose(1, 2) + 1) * size / 2
    swapped = mirror[:, None]
    place = torch.where(swapped[..., None], place[:, mirrored_order], place)
    visible = torch.where(swapped, truth.visible[:, mirrored_order], truth.visible)
    inside = cameras.in_picture(place, size)

    lit = moved * (1 + draw.normal(0, 0.05, 3, 1, 1)) + draw.normal(0, 0.04, 1, 1, 1)
    mean = lit.mean((2, 3), keepdim=True)
    lit = (lit - mean) * draw.uniform(0.8, 1.25, 1, 1, 1) + mean
    lit = lit.clamp(0, 1) ** torch.exp(draw.normal(0, 0.2, 1, 1, 1))
    grain = draw.normal(0, 1, *lit.shape[1:])
    lit = (lit + grain * draw.uniform(0, 1, 1, 1, 1) ** 3 * 0.03).clamp(0, 1)
    return lit, Truth(
        place=place,
        inside=inside,
        visible=visible & inside,
        turn=truth.turn * torch.where(mirror, -1.0, 1.0)[:, None],
        setting=truth.setting,
        millimetres=truth.millimetres * scale,
    )
