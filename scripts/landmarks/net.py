"""The landmark net: the pose net's own backbone, which has seen real people, and a new head.

Input is a crop (B, 3, 256, 256), RGB from 0 to 1, and its setting (B, 6), one-hot: which view and
which crop. The heat map of a landmark gives its place (soft-argmax); features gathered there give
its error, as a covariance, and whether it can be seen. Features of the whole crop give the turn of
trunk and head, each with an error.
"""

import math

import torch
from torch import nn
from torch.nn import functional as F

from camera import SETTINGS
from pretrained import Backbone

SIZE = 256
CELLS = 64
CELL = SIZE / CELLS
# Bounds of what the net may claim: sigma of a landmark in pixels, of a turn in radians.
SIGMA = (0.15, 60.0)
TURN_SIGMA = (math.radians(0.4), math.radians(40))


class Block(nn.Module):
    """A wide depthwise convolution and two pointwise ones, added to the input; starts as identity."""

    def __init__(self, channels, expansion):
        super().__init__()
        self.spread = nn.Conv2d(channels, channels, 7, padding=3, groups=channels, bias=False)
        self.norm = nn.BatchNorm2d(channels)
        self.widen = nn.Conv2d(channels, channels * expansion, 1)
        self.narrow = nn.Conv2d(channels * expansion, channels, 1)
        nn.init.zeros_(self.narrow.weight)
        nn.init.zeros_(self.narrow.bias)

    def forward(self, x):
        return x + self.narrow(F.relu(self.widen(self.norm(self.spread(x)))))


def halve(channels, to):
    return nn.Sequential(nn.Conv2d(channels, to, 2, 2), nn.BatchNorm2d(to))


def double(x):
    return F.interpolate(x, scale_factor=2.0, mode="bilinear", align_corners=False)


class LandmarkNet(nn.Module):
    def __init__(self, landmarks, backbone, width=96):
        super().__init__()
        self.backbone = backbone
        self.landmarks = landmarks
        wide = 2 * width
        channels = backbone.channels
        self.fine = nn.Sequential(
            nn.Conv2d(channels["fine"], 48, 3, 2, 1), nn.BatchNorm2d(48), nn.ReLU()
        )
        joined = channels["decoder"] + 48 + channels["early"]
        self.join = nn.Sequential(nn.Conv2d(joined, width, 1), nn.BatchNorm2d(width))
        self.setting = nn.Linear(SETTINGS, width, bias=False)
        self.setting_coarse = nn.Linear(SETTINGS, wide, bias=False)
        self.enter = nn.Sequential(Block(width, 2), Block(width, 2))
        self.to_32 = halve(width, wide)
        self.at_32 = nn.Sequential(*(Block(wide, 2) for _ in range(3)))
        self.to_16 = halve(wide, wide)
        self.at_16 = nn.Sequential(*(Block(wide, 2) for _ in range(3)))
        self.from_16 = nn.Conv2d(wide, wide, 1)
        self.from_32 = nn.Conv2d(wide, width, 1)
        self.leave = nn.Sequential(Block(width, 2), Block(width, 2))
        self.heat = nn.Conv2d(width, landmarks, 1)
        nn.init.normal_(self.heat.weight, 0, 0.02)

        gathered = 64
        self.features = nn.Conv2d(width, gathered, 1)
        self.identity = nn.Parameter(torch.zeros(landmarks, gathered))
        self.error_in = nn.Linear(gathered, 96)
        self.error_out = nn.Parameter(torch.randn(landmarks, 96, 4) * 0.02)
        self.error_bias = nn.Parameter(torch.zeros(landmarks, 4))

        self.to_8 = nn.Sequential(halve(wide, 48), nn.ReLU())
        self.gathered_for_turn = nn.Linear(gathered, 16)
        seen = 48 * 8 * 8 + landmarks * (16 + 2) + SETTINGS
        self.turn_in = nn.Sequential(nn.Linear(seen, 192), nn.ReLU())
        self.turn_out = nn.Sequential(nn.Linear(192, 64), nn.ReLU(), nn.Linear(64, 4))

        # A cell stands for its middle.
        self.register_buffer("at", (torch.arange(CELLS).float() + 0.5) * CELL)

    def forward(self, image, setting):
        taps = self.backbone(image)
        fine = self.join(torch.cat([taps["decoder"], self.fine(taps["fine"]), taps["early"]], 1))
        fine = self.enter(fine + self.setting(setting)[:, :, None, None])
        middle = self.at_32(self.to_32(fine) + self.setting_coarse(setting)[:, :, None, None])
        coarse = self.at_16(self.to_16(middle))
        middle = middle + double(self.from_16(coarse))
        fine = F.relu(self.leave(fine + double(self.from_32(middle))))

        count = len(image)
        heat = self.heat(fine).float().reshape(count, self.landmarks, CELLS * CELLS)
        share = torch.softmax(heat, -1)
        grid = share.reshape(count, self.landmarks, CELLS, CELLS)
        place = torch.stack([(grid.sum(2) * self.at).sum(-1), (grid.sum(3) * self.at).sum(-1)], -1)

        features = self.features(fine).float().reshape(count, -1, CELLS * CELLS)
        gathered = share @ features.transpose(1, 2)
        doubt = F.relu(self.error_in(gathered + self.identity))
        doubt = (doubt.unsqueeze(-2) @ self.error_out).squeeze(-2) + self.error_bias
        low, high = (math.log(bound) for bound in SIGMA)
        log_sigma = (doubt[..., :2] + math.log(4)).clamp(low, high)
        correlation = 0.95 * torch.tanh(doubt[..., 2])

        where = (place / SIZE - 0.5).flatten(1)
        local = F.relu(self.gathered_for_turn(gathered)).flatten(1)
        whole = self.to_8(coarse).float().flatten(1)
        turn = self.turn_out(self.turn_in(torch.cat([whole, local, where, setting], 1)))
        low, high = (math.log(bound) for bound in TURN_SIGMA)
        return {
            "place": place,
            "log_sigma": log_sigma,
            "correlation": correlation,
            "seen": doubt[..., 3],
            "heat": heat,
            "turn": turn[:, :2],
            "log_turn_sigma": (turn[:, 2:] + math.log(math.radians(5))).clamp(low, high),
        }


def build(data, landmarks=23):
    """A net whose backbone is the exported pose net's in folder `data`."""
    return LandmarkNet(landmarks, Backbone(data / "backbone.npz"))


def squared_distance(out, truth):
    """Mahalanobis distance squared of the truth (B, L, 2), and half the log determinant."""
    off = (truth - out["place"]) * torch.exp(-out["log_sigma"])
    r = out["correlation"]
    squared = (off[..., 0] ** 2 + off[..., 1] ** 2 - 2 * r * off[..., 0] * off[..., 1]) / (1 - r**2)
    return squared, out["log_sigma"].sum(-1) + 0.5 * torch.log(1 - r**2)


# Degrees of freedom of the error distribution: heavier tails than a normal one's.
FREEDOM = 5.0


def loss(out, truth, progress):
    """Training loss, and its parts by name. `progress` runs from 0 to 1 over the training."""
    inside = truth["inside"].float()
    # What is hidden counts less: its place is a guess that the net should know to be one.
    weight = inside * (0.55 + 0.45 * truth["visible"].float())
    total = weight.sum().clamp_min(1)
    squared, log_size = squared_distance(out, truth["place"])
    likelihood = (FREEDOM + 2) / 2 * torch.log1p(squared / FREEDOM) + log_size
    # Unsure landmarks would otherwise hardly move the net (Seitzer et al. 2022, beta-NLL).
    trust = torch.exp(out["log_sigma"].mean(-1)).detach().clamp(0.1, 40) ** 0.5
    likelihood = (likelihood * trust * weight).sum() / total
    distance = (out["place"] - truth["place"]).abs().sum(-1).clamp(max=60)
    distance = (distance * weight).sum() / total
    heat = (heat_cross_entropy(out["heat"], truth["place"]) * weight).sum() / total
    seen = F.binary_cross_entropy_with_logits(out["seen"], truth["visible"].float())

    off = out["turn"] - truth["turn"]
    scaled = off * torch.exp(-out["log_turn_sigma"])
    turn_likelihood = (FREEDOM + 1) / 2 * torch.log1p(scaled**2 / FREEDOM) + out["log_turn_sigma"]
    trust = torch.exp(out["log_turn_sigma"]).detach() ** 0.5
    turn_likelihood = (turn_likelihood * trust).mean() * 2
    turn_distance = torch.rad2deg(off).abs().mean()

    parts = {
        "likelihood": likelihood,
        "pixels": distance,
        "heat": heat,
        "seen": seen,
        "turn_likelihood": turn_likelihood,
        "turn_degrees": turn_distance,
    }
    sum_of_parts = (
        likelihood
        + 0.12 * distance
        + (0.25 * (1 - progress) + 0.05) * heat
        + 0.3 * seen
        + turn_likelihood
        + 0.15 * turn_distance
    )
    return sum_of_parts, parts


def heat_cross_entropy(heat, place, spread=5.0):
    """Against a normal bump of `spread` pixels at the true place."""
    at = (torch.arange(CELLS, device=heat.device).float() + 0.5) * CELL
    off_x = (at[None, None, None, :] - place[..., 0, None, None]) ** 2
    off_y = (at[None, None, :, None] - place[..., 1, None, None]) ** 2
    target = torch.exp(-(off_x + off_y) / (2 * spread**2)).flatten(2)
    target = target / target.sum(-1, keepdim=True).clamp_min(1e-6)
    return -(target * torch.log_softmax(heat, -1)).sum(-1)


class Shipped(nn.Module):
    """The net as it is shipped: picture rows first and channels last, outputs in two tables."""

    def __init__(self, net):
        super().__init__()
        self.net = net

    def forward(self, image, setting):
        out = self.net(image.permute(0, 3, 1, 2), setting)
        landmarks = torch.cat(
            [
                out["place"],
                torch.exp(out["log_sigma"]),
                out["correlation"].unsqueeze(-1),
                torch.sigmoid(out["seen"]).unsqueeze(-1),
            ],
            -1,
        )
        turns = torch.stack([out["turn"], torch.exp(out["log_turn_sigma"])], -1)
        return landmarks, turns
