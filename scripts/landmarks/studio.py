"""Paints dressed people: skin, cloth and hair, light and shadow, what stands behind and before them,
and the camera's own faults.

A picture is drawn with `supersample` times the net's pixels across. Every pixel of a person has one
material; a palette per person gives each material's colour and how it takes the light.
"""

from dataclasses import dataclass

import torch
import torch.nn.functional as functional

from filters import blurred, lookup, per_picture, periodic_noise
from light import Light
from pose import Draw
from raster import depth, interpolate, rasterise
from room import Rooms, colours
from sensor import Sensor
from wardrobe import MADE_OF

MATERIALS = (
    "skin", "lips", "eye_white", "iris", "brow", "hair", "inner", "inner_print", "outer", "outer_print",
    "lower", "headwear", "headwear_print", "mask", "frame", "lens", "drain",
)  # fmt: skip
NUMBER = {name: number for number, name in enumerate(MATERIALS)}
CLOTH = ("inner", "inner_print", "outer", "outer_print", "lower", "headwear", "headwear_print", "mask")
HAIR_COLOURS = (
    (0.02, 0.016, 0.013), (0.06, 0.036, 0.022), (0.14, 0.08, 0.045), (0.29, 0.18, 0.10),
    (0.48, 0.36, 0.21), (0.40, 0.40, 0.40), (0.66, 0.66, 0.65), (0.28, 0.10, 0.05),
)  # fmt: skip
# Reflectances of palest and darkest skin.
PALE, DARK = (0.78, 0.53, 0.40), (0.10, 0.048, 0.030)


@dataclass
class Picture:
    image: torch.Tensor  # (B, 3, S, S) from 0 to 1
    depth: torch.Tensor  # (B, R, R) metres along the axis to the person; infinite where nothing is
    occluded: torch.Tensor  # (B, S, S) bool: something stands before the person, or no photo is there


class Studio:
    def __init__(self, body, backgrounds, generator, supersample=2):
        """`backgrounds` (N, 3, H, W) uint8; `supersample` may be a fraction."""
        self.body, self.generator, self.supersample = body, generator, supersample
        self.device = body.template.device
        self.backgrounds = backgrounds.to(self.device)
        fields = body.fields
        self.face_paint = torch.stack([fields["lips"], fields["eye"], fields["brow"]], 1)
        self.hair_colours = torch.tensor(HAIR_COLOURS, device=self.device)
        self.pale, self.dark = torch.tensor([PALE, DARK], device=self.device)
        self.is_cloth = torch.tensor([name in CLOTH for name in MATERIALS], device=self.device)
        self.is_hair = torch.tensor([name == "hair" for name in MATERIALS], device=self.device)
        made_of = [-1] + [NUMBER[name] for name in MADE_OF.values()]
        self.made_of = torch.tensor(made_of, device=self.device)
        self.chest = torch.tensor([0.0, 0.0, 0.35], device=self.device)
        self.red_lips = torch.tensor([0.88, 0.62, 0.62], device=self.device)
        self.drained = torch.tensor([1.0, 0.75, 0.7], device=self.device)
        self.made = {}

    def of_size(self, size):
        if size not in self.made:
            self.made[size] = (Rooms(self.backgrounds, size), Sensor(size, self.device))
        return self.made[size]

    def photograph(self, dressed, camera):
        draw = Draw(len(dressed.vertices), self.generator)
        rooms, sensor = self.of_size(camera.size)
        width = round(camera.size * self.supersample)
        pixels, away = camera.project(dressed.vertices)
        away = torch.where(dressed.hidden, torch.zeros_like(away), away)
        screen = torch.cat([pixels * (width / camera.size), away[..., None]], -1).contiguous()
        zbuffer = rasterise(screen, dressed.faces, width, width)
        light = Light(draw, camera)
        middle = dressed.bare.mean(1) + self.chest
        placed = light.cast(dressed.vertices, dressed.faces, dressed.hidden, middle)
        surface = self.surface(draw, dressed, screen, zbuffer, placed)
        person = self.shade(draw, dressed, surface, light, zbuffer)

        there = (zbuffer != -1)[:, None].float()
        person = functional.adaptive_avg_pool2d(person * there, camera.size)
        cover = functional.adaptive_avg_pool2d(there, camera.size)
        distance = camera.seen_from(middle[:, None])[:, 0, 2]
        scenery = rooms.draw(draw, camera, dressed.bare[..., 2].amin(1), distance)
        image = self.shadowed(draw, scenery, light)
        image = self.beside(draw, image, person, cover)
        image = person + (1 - cover) * image
        image, occluded = self.before(draw, image)
        image = sensor.take(draw, image, camera.millimetres_per_pixel)
        image, outside = self.photo_edge(draw, image)
        return Picture(image, depth(zbuffer), occluded | outside)

    def surface(self, draw, dressed, screen, zbuffer, placed):
        """What is at each pixel, by name, (B, C, R, R)."""
        outfit, count = dressed.outfit, len(dressed.vertices)
        beside = dressed.vertices.shape[1] - len(self.body.template)
        fields = [dressed.scalp, outfit.inner, outfit.outer, outfit.lower, outfit.mask]
        fields = functional.pad(torch.stack(fields, -1), (0, 0, 0, beside), value=-1.0)
        template = dressed.template[None].expand(count, -1, -1)
        # Where in the noise of folds and spots, in a print's waves, and in a strand's noise.
        size = draw.uniform(1.5, 4.0, 1, 1) * torch.exp(draw.normal(0, 0.5, 1, 3))
        folds = template * size + draw.uniform(0, 1, 1, 3)
        waves = draw.uniform(4, 40, 2)[:, None]
        leaning = draw.either(0.75, 0 * waves[:, 0, 0], draw.normal(0, 0.7))[:, None]
        lines = torch.stack(
            [template[..., 2] + leaning * template[..., 0], template[..., 0] + 0.6 * template[..., 1]], -1
        ) * (2 * torch.pi * waves)  # fmt: skip
        strands = torch.stack([4 * (template[..., 0] + 0.8 * template[..., 1]), 0.6 * template[..., 2]], -1)
        own = torch.cat([dressed.normals, placed, fields, folds, lines, strands], -1)
        face = functional.pad(self.face_paint, (0, 0, 0, beside))
        shared = torch.cat([face, dressed.part[:, None]], -1)
        sizes = {"normal": 3, "placed": 3, "scalp": 1, "inner": 1, "outer": 1, "lower": 1, "mask": 1,
                 "folds": 3, "lines": 2, "strands": 2, "lips": 1, "eye": 1, "brow": 1, "part": 1}  # fmt: skip
        values = interpolate(screen, dressed.faces, zbuffer, own, shared)
        return dict(zip(sizes, values.split(list(sizes.values()), 1)))

    def shade(self, draw, dressed, surface, light, zbuffer):
        """The person's colours (B, 3, R, R) as a screen shows them."""
        spots, relief = lookup(periodic_noise(2, 24, 3, self.generator), surface["folds"]).split(1, 1)
        strand = lookup(periodic_noise(1, 96, 2, self.generator), surface["strands"]).clamp(-1.5, 1.5)
        material = self.material(draw, dressed, surface, spots, strand)
        palette = self.palette(draw)
        index = material.flatten(2).expand(-1, palette.shape[1], -1)
        look = palette.gather(2, index).unflatten(2, material.shape[2:])
        reflectance, gloss, bumps, streaks = look.split([3, 1, 1, 1], 1)

        normal = functional.normalize(surface["normal"], dim=1)
        facing = light.rows @ normal.flatten(2) + light.offsets[..., None]
        facing = facing.unflatten(2, normal.shape[2:])
        key, around, half = facing.split([1, 3, 1], 1)
        wrap = per_picture(light.wrap)
        lit = light.lit(surface["placed"])
        key = ((key + bumps * relief + wrap) / (1 + wrap)).clamp_min(0) * lit
        recess = self.recess(draw, zbuffer)
        around = around * recess * (1 + 0.4 * bumps * relief)
        shine = half.clamp_min(0) ** per_picture(draw.uniform(8, 40)) * lit * gloss
        key_light = per_picture(light.key)
        uneven = (1 + 0.05 * spots + streaks * strand).clamp_min(0.2)
        colour_ = reflectance * uneven * (key_light * key + around) + shine * key_light
        colour_ = colour_ * per_picture(draw.uniform(1.0, 2.1))
        # Half the cameras roll bright parts off, the others clip them.
        rolled = draw.chance(0.5)[:, None, None, None]
        colour_ = torch.where(rolled, 1.5 * colour_ / (1 + colour_), colour_)
        return colour_.clamp(0.001, 1) ** (1 / 2.2)

    def material(self, draw, dressed, surface, spots, strand):
        """The material's number at each pixel (B, 1, R, R) int64; later layers cover earlier ones."""
        def yes(chosen):
            return chosen[:, None, None, None]

        material = torch.zeros_like(surface["part"], dtype=torch.int64)

        def put(where, name):
            nonlocal material
            material = torch.where(where, NUMBER[name], material)

        put(surface["lips"] > 0.5, "lips")
        put(surface["brow"] > 0.45 + 0.2 * spots.clamp(-1.5, 1.5), "brow")
        put(surface["eye"] > 0.9, "eye_white")
        put(surface["eye"] > 1.45, "iris")
        put(surface["scalp"] + 0.5 * strand > 0.25, "hair")
        printed = self.print(draw, surface["lines"], spots)
        over = yes(dressed.outfit.lower_over_inner)
        lower = surface["lower"] + 0.003 * spots > 0
        put(lower, "lower")
        inner = (surface["inner"] > 0) & ~(lower & over)
        put(inner, "inner")
        put(inner & printed, "inner_print")
        outer = surface["outer"] > 0
        put(outer, "outer")
        put(outer & printed, "outer_print")
        put(surface["mask"] > 0, "mask")

        # Meshes beside the skin: made of one thing each, save that the sheet of hair may be a veil.
        part = surface["part"].round().long()
        beside = self.made_of[part]
        veil = yes(dressed.head.veil) & (beside == NUMBER["hair"])
        beside = torch.where(veil, NUMBER["headwear"], beside)
        material = torch.where(beside >= 0, beside, material)
        put((material == NUMBER["headwear"]) & printed, "headwear_print")
        return material

    def print(self, draw, lines, spots):
        """Where a print's second colour lies (B, 1, R, R): stripes, checks, spots or nowhere."""
        first, second = torch.sin(lines).split(1, 1)
        kind = draw.uniform(0, 1)[:, None, None, None]
        value = torch.where(kind < 0.5, first, torch.where(kind < 0.65, first * second, spots))
        return value > per_picture(draw.uniform(-0.3, 0.9))

    def palette(self, draw):
        """Per person and material: reflectance (3), gloss, depth of bumps, streaks; (B, 6, M)."""
        count = draw.count
        tone = draw.uniform(0, 1, 1) ** 1.1
        skin = torch.lerp(self.pale, self.dark, tone) * draw.uniform(0.85, 1.12, 1) + draw.normal(0, 0.015, 3)
        pick = torch.randint(len(self.hair_colours), (count,), device=self.device, generator=self.generator)
        hair = self.hair_colours[pick] * draw.uniform(0.6, 1.3, 1)
        dyes = colours(draw, 9, 0.4) ** draw.uniform(0.8, 2.5, 9, 1)
        inner, outer, lower, headwear, mask, frame, *prints = dyes.unbind(1)
        plain = draw.uniform(0, 1, 3, 1).unbind(1)
        reflectance = {
            "skin": skin,
            "lips": skin * self.red_lips,
            "eye_white": torch.full_like(skin, 0.6),
            "iris": draw.uniform(0.02, 0.22, 3),
            "brow": torch.lerp(0.8 * hair + 0.02, skin, draw.uniform(0.1, 0.9, 1)),
            "hair": hair,
            "inner": inner,
            "inner_print": torch.where(plain[0] < 0.6, inner, prints[0]),
            "outer": outer,
            "outer_print": torch.where(plain[1] < 0.8, outer, prints[1]),
            "lower": lower,
            "headwear": headwear,
            "headwear_print": torch.where(plain[2] < 0.5, headwear, prints[2]),
            "mask": torch.where(draw.chance(0.7)[:, None], draw.uniform(0.5, 0.8, 3), mask),
            "frame": torch.where(draw.chance(0.6)[:, None], draw.uniform(0.01, 0.1, 1), frame),
            "lens": draw.uniform(0.01, 0.06, 3),
            "drain": draw.uniform(0.5, 0.8, 1) * self.drained,
        }
        reflectance = torch.stack([reflectance[name] for name in MATERIALS], -1).clamp(0.008, 0.92)
        cloth, strands = self.is_cloth.float(), self.is_hair.float()
        gloss = draw.uniform(0.0, 0.10, 1, len(MATERIALS)) * torch.where(self.is_cloth, 0.3, 1.0)
        bumps = draw.uniform(0.0, 0.16, 1, 1) * cloth + draw.uniform(0.0, 0.04, 1, 1) * (1 - cloth)
        streaks = draw.uniform(0.1, 0.45, 1, 1) * strands
        return torch.cat([reflectance, gloss, bumps, streaks], 1)

    def recess(self, draw, zbuffer):
        """How open each pixel lies to light from all around (B, 1, R, R): less beside what is nearer."""
        away = depth(zbuffer)[:, None]
        # The farthest part of the person stands for the nothing around it.
        limit = torch.where(away.isinf(), 0.0, away).amax((2, 3), keepdim=True)
        away = torch.minimum(away, limit)
        small = functional.avg_pool2d(away, 4)
        small = blurred(small, torch.full((draw.count,), 3.0, device=self.device))
        near = functional.interpolate(small, size=away.shape[-2:], mode="bilinear", align_corners=False)
        return 1 - ((away - near).clamp(0, 0.08) / 0.08) * per_picture(draw.uniform(0.2, 0.8))

    def shadowed(self, draw, scenery, light):
        """The room with the person's shadow on it."""
        count, size = draw.count, scenery.image.shape[-1]
        placed = light.placed(scenery.points.flatten(2).transpose(1, 2))
        placed = placed.transpose(1, 2).reshape(count, 3, size, size)
        inside = (placed[:, :2].abs() < 0.98).all(1, keepdim=True)
        dark = (1 - light.lit(placed)) * inside
        strength = draw.uniform(0, 0.5) * draw.chance(0.7) * scenery.is_room
        return scenery.image * (1 - per_picture(strength) * dark)

    def beside(self, draw, image, person, cover):
        """Now and then another person of the batch, at another size, beside and behind this one."""
        some = draw.chance(0.12)
        size = torch.exp(draw.uniform(-0.3, 0.7))
        sign = torch.where(draw.chance(0.5), -1.0, 1.0)
        aside = sign * draw.uniform(0.5, 1.1)
        zero = torch.zeros_like(size)
        flip = torch.where(draw.chance(0.5), -1.0, 1.0)
        # From this picture's place to the other's.
        across = torch.stack([size * flip, zero, -aside * size * flip], -1)
        down = torch.stack([zero, size, draw.normal(0, 0.25)], -1)
        grid = functional.affine_grid(torch.stack([across, down], 1), image.shape, align_corners=False)
        other = torch.cat([person, cover], 1).roll(1, 0)
        other = functional.grid_sample(other, grid, align_corners=False) * per_picture(some.float())
        other_cover = other[:, 3:]
        return other[:, :3] + (1 - other_cover) * image

    def before(self, draw, image):
        """Now and then a plain thing between camera and person: where it is, and the picture with it."""
        size = image.shape[-1]
        along = (torch.arange(size, device=self.device) + 0.5) / size
        occluded = torch.zeros(draw.count, size, size, dtype=torch.bool, device=self.device)
        things = colours(draw, 2, 0.5)
        for each in range(2):
            on, is_round = draw.chance(0.08), draw.chance(0.4)
            middle, half = draw.uniform(0, 1, 2), draw.uniform(0.02, 0.2, 2)
            x = (along[None] - middle[:, :1]) / half[:, :1]
            y = (along[None] - middle[:, 1:]) / half[:, 1:]
            square = torch.maximum(x.abs()[:, None], y.abs()[:, :, None]) < 1
            ellipse = x[:, None] ** 2 + y[:, :, None] ** 2 < 1
            inside = torch.where(is_round[:, None, None], ellipse, square) & on[:, None, None]
            slope = 1 + 0.15 * (x[:, None] * draw.uniform(-1, 1)[:, None, None] + y[:, :, None])
            thing = per_picture(things[:, each]) * slope[:, None]
            image = torch.where(inside[:, None], thing.clamp(0, 1), image)
            occluded = occluded | inside
        return image, occluded

    def photo_edge(self, draw, image):
        """Where the crop reaches beyond the photo it is black."""
        size = image.shape[-1]
        along = torch.arange(size, device=self.device) + 0.5
        cut = size * draw.uniform(0, 0.25, 4) * (draw.uniform(0, 1, 4) < 0.015)
        low_x, high_x, low_y, high_y = cut[:, :, None].unbind(1)
        columns = (along < low_x) | (along > size - high_x)
        rows = (along < low_y) | (along > size - high_y)
        outside = columns[:, None] | rows[:, :, None]
        return torch.where(outside[:, None], 0.0, image), outside
