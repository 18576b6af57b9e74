"""Light on people: one key light with a soft shadow, and light from all around."""

import torch
import torch.nn.functional as functional

from filters import blurred
from raster import depth, rasterise

MAP_SIZE = 320
# Metres across the shadow map: trunk, head and raised arms.
MAP_REACH = 2.0
# The map's own distance to the person's middle, and how far behind that nothing more is told apart.
FAR, BEHIND = 3.0, 0.6


class Light:
    """Random lights of a batch: `rows` (B, 5, 3) and `offsets` (B, 5) give, of a unit normal, how it
    faces the key light, the light from all around in red, green and blue, and how it faces halfway
    to the camera."""

    def __init__(self, draw, camera):
        ahead = camera.rotation[:, 2]
        aside = draw.either(0.85, draw.uniform(-1.3, 1.3), draw.uniform(-2.6, 2.6))
        azimuth = torch.atan2(-ahead[:, 0], ahead[:, 1]) + aside
        height = draw.uniform(0.1, 1.3)
        self.direction = torch.stack(
            [torch.sin(azimuth) * height.cos(), -torch.cos(azimuth) * height.cos(), height.sin()], -1
        )
        half = functional.normalize(self.direction - ahead, dim=-1)
        # Ceiling light from above and a weaker fill from anywhere, each with its tint.
        sky = draw.uniform(0.15, 0.55, 1) * (1 + draw.normal(0, 0.04, 3))
        ground = sky * draw.uniform(0.3, 0.9, 1) * (1 + draw.normal(0, 0.05, 3))
        fill = draw.uniform(0.0, 0.2, 1) * (1 + draw.normal(0, 0.06, 3))
        towards = functional.normalize(draw.normal(0, 1, 3), dim=-1)
        upward = functional.pad(((sky - ground) / 2)[..., None], (2, 0))
        around = upward + (fill / 2)[..., None] * towards[:, None]
        self.rows = torch.cat([self.direction[:, None], around, half[:, None]], 1)
        level = (sky + ground + fill) / 2
        zero = torch.zeros_like(level[:, :1])
        self.offsets = torch.cat([zero, level, zero], 1)
        strength = draw.either(0.85, draw.uniform(0.3, 1.3), draw.uniform(0.0, 0.3))
        self.key = strength[:, None] * (1 + draw.normal(0, 0.05, 3))
        self.wrap = draw.uniform(0.0, 0.35)
        self.penumbra = torch.exp(draw.uniform(-0.7, 1.9))

    def frame(self):
        """Rotation (B, 3, 3) to the light's view: across, down, along the light."""
        x, y, _ = self.direction.unbind(1)
        across = functional.normalize(torch.stack([y, -x, torch.zeros_like(x)], -1), dim=-1)
        return torch.stack([across, torch.cross(self.direction, across, dim=-1), -self.direction], 1)

    def cast(self, vertices, faces, hidden, middle):
        """Draws the shadow map of posed `vertices`, around `middle` (B, 3); returns where they lie in
        it (B, N, 3): -1 to 1 across and down, and metres along the light."""
        self.middle, self.turn = middle, self.frame()
        placed = self.placed(vertices)
        pixels = (placed[..., :2] + 1) * MAP_SIZE / 2
        away = torch.where(hidden, torch.zeros_like(placed[..., 2]), placed[..., 2])
        map_ = depth(rasterise(torch.cat([pixels, away[..., None]], -1), faces, MAP_SIZE, MAP_SIZE))
        # Blurring the depth and its square tells how much of a neighbourhood lies before a point.
        map_ = map_.clamp(max=FAR + BEHIND)[:, None] - FAR
        moments = torch.cat([map_, map_**2], 1)
        self.moments = blurred(moments, self.penumbra)
        return placed

    def placed(self, points):
        seen = (points - self.middle[:, None]) @ self.turn.transpose(1, 2)
        return torch.cat([seen[..., :2] / (MAP_REACH / 2), seen[..., 2:] + FAR], -1)

    def lit(self, placed):
        """Share of the key light (B, 1, H, W) that reaches points `placed` (B, 3, H, W)."""
        where = placed[:, :2].permute(0, 2, 3, 1)
        mean, square = functional.grid_sample(
            self.moments, where, padding_mode="border", align_corners=False
        ).split(1, 1)
        behind = ((placed[:, 2:] - FAR).clamp(max=BEHIND) - mean - 0.012).clamp_min(0)
        spread = (square - mean**2).clamp_min(2e-5)
        share = spread / (spread + behind**2)
        return ((share - 0.25) / 0.75).clamp(0, 1)
