"""What stands behind people: rooms drawn by casting rays, and photos of real places.

A room is a box around camera and person with a door, pictures, furniture and a floor. It is drawn
at the size of the net's picture.
"""

from dataclasses import dataclass

import torch
import torch.nn.functional as functional

from filters import blurred, cloud, per_picture

BOXES = 4


@dataclass
class Scenery:
    image: torch.Tensor  # (B, 3, S, S)
    points: torch.Tensor  # (B, 3, S, S) where the rays meet the room, for the person's shadow
    is_room: torch.Tensor  # (B,) bool: `points` say what the picture shows


def colours(draw, number, dull):
    """(B, number, 3): a share of `dull` is nearly grey, as most walls and things are."""
    vivid = draw.uniform(0.03, 0.9, number, 3) * draw.uniform(0.25, 1, number, 1)
    grey = vivid.mean(2, keepdim=True)
    pale = (grey + 0.25 * (vivid - grey) + draw.uniform(0.1, 0.5, number, 1)).clamp(0, 1)
    return torch.where(draw.uniform(0, 1, number, 1) < dull, pale, vivid)


def paint(image, where, shade):
    """`image` (B, 3, S, S) with `shade` (B, 3) or (B, 3, S, S) where `where` (B, S, S)."""
    shade = per_picture(shade) if shade.dim() == 2 else shade
    return torch.where(where[:, None], shade, image)


class Rooms:
    def __init__(self, backgrounds, size):
        self.photos, self.size = backgrounds, size

    def draw(self, draw, camera, floor, distance):
        """Scenery behind people on a `floor` (B,) at a height, `distance` (B,) before the cameras."""
        room, points = self.room(draw, camera, floor, distance)
        chosen = draw.uniform(0, 1)
        is_room = chosen < 0.62
        image = paint(self.photo(draw), is_room[:, None, None].expand(-1, self.size, self.size), room)
        out_of_focus = draw.either(0.7, draw.uniform(0, 0.8), draw.uniform(0.5, 4.0))
        image = blurred(image.clamp(0, 1), out_of_focus * torch.where(is_room, 0.6, 1.0))
        return Scenery(image, points, is_room)

    def photo(self, draw):
        """A part of a photo of the bank, mirrored now and then, as darker or paler."""
        pick = torch.randint(
            len(self.photos), (draw.count,), device=draw.device, generator=draw.generator
        )
        photo = self.photos[pick].float() / 255
        part = draw.uniform(0.35, 1.0)
        flip = torch.where(draw.chance(0.5), -1.0, 1.0)
        shift = draw.uniform(-1, 1, 2) * (1 - part[:, None])
        zero = torch.zeros_like(part)
        placed = torch.stack(
            [torch.stack([part * flip, zero, shift[:, 0]], -1), torch.stack([zero, part, shift[:, 1]], -1)], 1
        )
        grid = functional.affine_grid(
            placed, (draw.count, 3, self.size, self.size), align_corners=False
        )
        photo = functional.grid_sample(photo, grid, padding_mode="reflection", align_corners=False)
        return photo * draw.uniform(0.6, 1.3, 1, 1, 1) + draw.normal(0, 0.06, 3, 1, 1)

    def rays(self, draw, camera):
        """Directions in the room (B, 3, S, S): right along the back wall, ahead, up; and the turn
        (B, 2, 2) that takes the world's horizontal plane there."""
        half = self.size / 2
        steps = torch.arange(self.size, device=draw.device) + 0.5 - half
        flat = steps[None] / camera.scale[:, None]
        across = (flat + camera.centre[:, :1])[:, None, :].expand(-1, self.size, -1)
        down = (flat + camera.centre[:, 1:])[:, :, None].expand(-1, -1, self.size)
        seen = torch.stack([across, down, torch.ones_like(down)], 1)
        world = (camera.rotation.transpose(1, 2) @ seen.flatten(2)).reshape(seen.shape)
        ahead = camera.rotation[:, 2]
        skew = torch.deg2rad(draw.normal(0, 11))
        facing = torch.atan2(ahead[:, 1], ahead[:, 0]) + skew
        cosine, sine = torch.cos(facing), torch.sin(facing)
        # Rows: right, ahead.
        turn = torch.stack([torch.stack([sine, -cosine], -1), torch.stack([cosine, sine], -1)], 1)
        level = (turn @ world[:, :2].flatten(2)).reshape(-1, 2, self.size, self.size)
        return torch.cat([level, world[:, 2:]], 1), world

    def room(self, draw, camera, floor, distance):
        rays, world = self.rays(draw, camera)
        right, ahead, up = rays.unbind(1)
        eye = (camera.position[:, 2] - floor)[:, None, None]
        back = (distance + torch.exp(draw.uniform(-1.6, 1.3)))[:, None, None]
        left_wall, right_wall = (draw.uniform(0.9, 5.0)[:, None, None] for _ in range(2))
        ceiling = draw.uniform(2.3, 3.3)[:, None, None]

        # The nearest plane that each ray meets. Rays that point away from a plane miss it.
        def reach(gap, speed):
            return torch.where(speed > 1e-4, gap / speed.clamp_min(1e-4), torch.full_like(speed, 1e3))

        meets = torch.stack(
            [
                reach(back, ahead), reach(right_wall, right), reach(left_wall, -right),
                reach(eye, -up), reach((ceiling - eye).clamp_min(0.2), up),
            ],
            1,
        )  # fmt: skip
        far, plane = meets.min(1)
        across, beyond, height = far * right, far * ahead, eye + far * up
        is_back, is_floor, is_ceiling = plane == 0, plane == 3, plane == 4
        is_wall = plane < 3
        along = torch.where(is_back, across, beyond)

        wall, lower_wall, ground, leaf, cloth = colours(draw, 5, 0.75).unbind(1)
        # Most treatment rooms are nearly white.
        paleness = draw.either(0.6, draw.uniform(0.3, 0.9), torch.zeros_like(distance))[:, None]
        wall = wall + paleness * (0.95 - wall)
        tint = draw.uniform(0.75, 1.05, 3)[:, :, None, None]
        shade = torch.where(is_back, 1.0, torch.where(plane == 1, tint[:, 0], tint[:, 1]))
        image = self.wall_paint(draw, wall, lower_wall, along, height)
        image = self.wall_things(draw, image, is_wall, is_back, along, height, leaf, cloth)
        image = image * shade[:, None]
        image = paint(image, is_floor, self.floor_paint(draw, ground, across, beyond))
        image = paint(image, is_ceiling, (0.5 * wall + 0.45).clamp(0, 1))
        image = self.furniture(draw, image, rays, eye, far, distance)
        light = 1 + draw.normal(0, 0.10)[:, None, None] * (height - 1.2) + 0.06 * cloud(draw, 1, 3, self.size)[:, 0]
        light = light - draw.uniform(0, 0.12)[:, None, None] * (far - distance[:, None, None]).clamp(-2, 2)
        image = image * light.clamp(0.3, 1.6)[:, None] * draw.uniform(0.7, 1.15, 1, 1, 1)
        points = camera.position[:, :, None, None] + far[:, None] * world
        return image, points

    def wall_paint(self, draw, wall, lower_wall, along, height):
        """One colour, two with a border, stripes, or tiles."""
        image = per_picture(wall) * (1 + 0.025 * cloud(draw, 1, 24, self.size))
        border = draw.either(0.15, draw.uniform(0.8, 1.4), -torch.ones_like(wall[:, 0]))
        image = paint(image, height < border[:, None, None], lower_wall)
        wave = torch.sin(along * draw.uniform(8, 60)[:, None, None])
        strength = draw.either(0.10, draw.uniform(0.02, 0.12), 0 * border)
        image = image * (1 + strength[:, None, None] * torch.sign(wave))[:, None]
        tile, joint = draw.uniform(0.12, 0.4)[:, None, None], 0.015
        seam = ((along / tile).frac().abs() < joint / tile) | ((height / tile).frac() < joint / tile)
        return paint(image, seam & draw.chance(0.08)[:, None, None], (0.8 * wall).clamp(0, 1))

    def wall_things(self, draw, image, is_wall, is_back, along, height, leaf, cloth):
        """Skirting board, door with frame, pictures or windows, a curtain."""
        def within(value, low, wide):
            return (value > low[:, None, None]) & (value < (low + wide)[:, None, None])

        white = (0.75 + draw.normal(0, 0.12, 1) + draw.normal(0, 0.03, 3)).clamp(0.05, 1)
        board = draw.either(0.7, draw.uniform(0.05, 0.16), 0 * white[:, 0])
        image = paint(image, is_wall & (height < board[:, None, None]), white)

        left, wide, tall = draw.uniform(-2.6, 1.9), draw.uniform(0.7, 1.0), draw.uniform(1.95, 2.15)
        on = (is_back & draw.chance(0.5)[:, None, None])
        zero = torch.zeros_like(tall)
        framed = on & within(along, left - 0.07, wide + 0.14) & within(height, zero - 1, tall + 1.07)
        image = paint(image, framed, white)
        grain = 1 + 0.05 * torch.sin(along * 90 + 2 * torch.sin(height * 5))
        image = paint(image, on & within(along, left, wide) & within(height, zero - 1, tall + 1),
                      per_picture(leaf) * grain[:, None])  # fmt: skip
        image = paint(image, on & within(along, left + 0.06, zero + 0.12) & within(height, zero + 1.02, zero + 0.03),
                      (0.5 * leaf).clamp(0, 1))  # fmt: skip

        rims, motifs = colours(draw, 3, 0.8), colours(draw, 3, 0.4)
        motifs = motifs[..., None, None] + draw.uniform(0, 0.12, 3, 1, 1, 1) * cloud(draw, 1, 12, self.size)[:, None]
        hung = draw.uniform(0, 1, 3) < 0.4
        lefts, lows = draw.uniform(-2.6, 2.2, 3), draw.uniform(0.7, 1.7, 3)
        wides, talls = draw.uniform(0.2, 1.3, 3), draw.uniform(0.2, 1.0, 3)
        rim_widths = draw.uniform(0.0, 0.06, 3)
        for each in range(3):
            left, low, wide, tall = lefts[:, each], lows[:, each], wides[:, each], talls[:, each]
            rim = rim_widths[:, each]
            rect = hung[:, each, None, None] & is_wall & within(along, left, wide) & within(height, low, tall)
            image = paint(image, rect, rims[:, each])
            inside = rect & within(along, left + rim, wide - 2 * rim) & within(height, low + rim, tall - 2 * rim)
            image = paint(image, inside, motifs[:, each])

        on = (draw.chance(0.12)[:, None, None]) & is_wall
        pleats = 0.85 + 0.15 * torch.sin(along * draw.uniform(30, 90)[:, None, None])
        return paint(image, on & within(along, draw.uniform(-2.5, 2), draw.uniform(0.3, 1.2)),
                     per_picture(cloth) * pleats[:, None])  # fmt: skip

    def floor_paint(self, draw, ground, across, beyond):
        """Planks or tiles or one colour."""
        ground = ground * draw.uniform(0.4, 1.0, 1)
        wide, long = draw.uniform(0.1, 0.6)[:, None, None], draw.uniform(0.4, 1.5)[:, None, None]
        row = (beyond / wide).floor()
        column = ((across / long) + 0.37 * row).floor()
        each = torch.sin(row * 12.9898 + column * 78.233) * 43758.5453
        each = each - each.floor()
        seam = ((beyond / wide) - row < 0.03) | (((across / long) + 0.37 * row) - column < 0.015)
        strength = draw.either(0.7, draw.uniform(0.03, 0.2), torch.zeros_like(ground[:, 0]))
        strength = strength[:, None, None]
        value = 1 + strength * (each - 0.5) - 1.5 * strength * seam
        return per_picture(ground) * value[:, None]

    def furniture(self, draw, image, rays, eye, far, distance):
        """Up to four boxes on the floor behind and beside the person: benches, cupboards, tables."""
        def slab(low, high, speed):
            safe = torch.where(speed.abs() < 1e-4, torch.full_like(speed, 1e-4), speed)
            first, second = low / safe, high / safe
            return torch.minimum(first, second), torch.maximum(first, second)

        # All boxes at once, (B, BOXES, S, S).
        def each(low, high):
            return draw.uniform(low, high, BOXES, 1, 1)

        rays, eye = rays[:, :, None], eye[:, None]
        left, front = each(-2.5, 2.0), distance[:, None, None, None] + each(0.35, 2.5)
        low = each(-0.6, 0.5).clamp(min=0)
        tall = torch.where(each(0, 1) < 0.6, each(0.05, 0.9), each(0.8, 2.0))
        x0, x1 = slab(left, left + each(0.15, 1.8), rays[:, 0])
        y0, y1 = slab(front, front + each(0.3, 0.8), rays[:, 1])
        z0, z1 = slab(low - eye, low + tall - eye, rays[:, 2])
        enter = torch.maximum(torch.maximum(x0, y0), z0)
        leave = torch.minimum(torch.minimum(x1, y1), z1)
        hit = (each(0, 1) < 0.4) & (enter < leave) & (enter > 0.3)
        nearest, which = torch.where(hit, enter, 1e3).min(1)
        side = torch.where(enter == z0, 1.1, torch.where(enter == x0, 0.7, 0.9))
        side = side.gather(1, which[:, None])
        paints = colours(draw, BOXES, 0.5).transpose(1, 2)
        shade = paints.gather(2, which.flatten(1)[:, None].expand(-1, 3, -1)).unflatten(2, which.shape[1:])
        return paint(image, nearest < far, shade * side)
