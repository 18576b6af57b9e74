"""What clothes cover, and how far they stand off, as fields over the body's vertices.

A garment is a signed field (B, V) in metres of the template: covered where it is positive. The
template's coordinates are the body's axes; its shoulders lie near z = 0.62, its waist near 0.35.
"""

from dataclasses import dataclass

import torch
import torch.nn.functional as functional

NOWHERE = -0.2
EVERYWHERE = 0.3


@dataclass
class Outfit:
    """Signed fields (B, V) of each layer, and how each hangs (B,)."""

    inner: torch.Tensor
    outer: torch.Tensor
    lower: torch.Tensor
    mask: torch.Tensor
    inner_looseness: torch.Tensor  # metres along the normal
    outer_looseness: torch.Tensor
    inner_hang: torch.Tensor  # 0 skin-tight .. 1 falls from the most prominent part
    outer_hang: torch.Tensor
    lower_over_inner: torch.Tensor  # bool: tucked in


class Tailor:
    """Cuts outfits over the vertices of one body."""

    def __init__(self, body):
        self.x, self.y, self.z = body.template.unbind(1)
        self.width = self.x.abs()
        self.arm = body.fields["arm"]
        self.arm_weight = body.fields["arm_weight"]
        self.head_weight = body.fields["head_weight"]
        self.front = torch.sigmoid(-(self.y + 0.02) / 0.02)

    def sleeves(self, length):
        """Covered down the arm to `length` (B,): 0 shoulder, 1 elbow, 2 wrist."""
        covered = 0.25 * (length[:, None] - self.arm)
        return torch.where(self.arm_weight > 0.02, covered, EVERYWHERE)

    def armholes(self, inset):
        """Covered up to the seam at the shoulder."""
        return 0.1 * (inset[:, None] - self.arm_weight)

    def neckline(self, front, back, half_width, flare, power):
        """Open above `front` and `back` (heights at the middle) within `half_width`, wider upwards by
        `flare`; all (B,). `power` 1 cuts a V, 2 a round neck, more a square one."""
        height = front[:, None] * self.front + back[:, None] * (1 - self.front)
        above = (self.z - height).clamp(min=0)
        rise = (self.width / half_width[:, None]).clamp(max=1.1) ** power[:, None]
        curved = height + (0.69 - height).clamp(min=0) * rise
        covered = torch.maximum(curved - self.z, self.width - half_width[:, None] - flare[:, None] * above)
        # An opening that ends below the neck leaves the neck and the head bare.
        return torch.where(self.head_weight > 0.6, height - self.z, covered)

    def hem(self, height):
        on_arm = self.arm_weight > 0.3
        return torch.where(on_arm, EVERYWHERE, self.z - height[:, None])

    def straps(self, top, inner_edge, strap):
        """Above `top` only two bands over the shoulders."""
        band = strap[:, None] / 2 - (self.width - inner_edge[:, None] - strap[:, None] / 2).abs()
        return torch.where(self.z > top[:, None], band, torch.maximum(band, 4 * (top[:, None] - self.z)))

    def inner(self, draw):
        """Bare, bra, vest, T-shirt, long sleeves, blouse, turtleneck; the field and its hang."""
        kind = draw.uniform(0, 1)
        bare, bra, vest = kind < 0.06, (kind >= 0.06) & (kind < 0.20), (kind >= 0.20) & (kind < 0.38)
        short, long = (kind >= 0.38) & (kind < 0.64), (kind >= 0.64) & (kind < 0.80)
        blouse, turtleneck = (kind >= 0.80) & (kind < 0.92), kind >= 0.92
        sleeved = short | long | blouse | turtleneck

        sleeve = torch.where(short, draw.uniform(0.25, 1.1), draw.uniform(1.2, 2.1))
        seam = torch.where(sleeved[:, None], self.sleeves(sleeve), self.armholes(draw.uniform(0.15, 0.6)))
        high = draw.chance(0.2) & sleeved
        front = torch.where(high, draw.uniform(0.67, 0.71), draw.uniform(0.53, 0.665))
        back = torch.where(high, draw.uniform(0.68, 0.73), draw.uniform(0.61, 0.70))
        back = torch.where(bra | vest, draw.uniform(0.50, 0.68), back)
        front = torch.where(turtleneck, draw.uniform(0.69, 0.735), front)
        back = torch.where(turtleneck, draw.uniform(0.72, 0.775), back)
        half_width = draw.uniform(0.05, 0.115)
        neck = self.neckline(front, back, half_width, torch.where(sleeved, 0.25, 0.0), draw.uniform(1, 5))
        height = torch.where(bra, draw.uniform(0.36, 0.44), draw.uniform(-0.05, 0.25))
        height = torch.where(blouse, draw.uniform(-0.15, 0.12), height)
        field = torch.minimum(torch.minimum(seam, neck), self.hem(height))

        strap = draw.uniform(0.02, 0.06)
        top = torch.where(bra, draw.uniform(0.48, 0.53), draw.uniform(0.52, 0.60))
        banded = torch.minimum(field, self.straps(top, half_width, strap))
        field = torch.where((bra | (vest & draw.chance(0.6)))[:, None], banded, field)
        field = torch.where(bare[:, None], NOWHERE, field)

        looseness = torch.where(
            bra,
            draw.uniform(0.0005, 0.002),
            torch.where(vest, draw.uniform(0.001, 0.008), draw.uniform(0.001, 0.014)),
        )
        hang = torch.where(bra, draw.uniform(0, 0.2), draw.uniform(-1.2, 1.0).clamp(min=0))
        hang = torch.where(blouse, draw.uniform(0.6, 1.0), hang)
        return field, looseness, hang

    def outer(self, draw):
        """Now and then a coat or cardigan, open in front, its collar up to the neck."""
        worn = draw.chance(0.16)
        opening = draw.either(0.25, draw.uniform(-0.05, 0.0), draw.uniform(0.01, 0.10))
        widening = draw.uniform(0.0, 0.25)
        edge = opening[:, None] + widening[:, None] * (self.z - 0.45).abs()
        closed = torch.where(self.front > 0.5, self.width - edge, EVERYWHERE)
        collar = draw.uniform(0.66, 0.755)
        flare, power = torch.zeros_like(collar), torch.full_like(collar, 4.0)
        front = collar - draw.uniform(0.0, 0.04)
        neck = self.neckline(front, collar, draw.uniform(0.03, 0.07), flare, power)
        neck = torch.where(self.z < collar[:, None], torch.maximum(neck, 0.2 * (collar[:, None] - self.z)), neck)
        field = torch.minimum(torch.minimum(closed, neck), self.sleeves(draw.uniform(1.4, 2.1)))
        field = torch.minimum(field, self.hem(draw.uniform(-0.45, 0.22)))
        field = torch.where(worn[:, None], field, NOWHERE)
        return field, draw.uniform(0.006, 0.022), draw.uniform(0.2, 1.0)

    def lower(self, draw):
        waist = draw.uniform(0.03, 0.27)
        on_arm = self.arm_weight > 0.3
        field = torch.where(on_arm, NOWHERE, waist[:, None] - self.z)
        leg = draw.either(0.85, draw.uniform(-0.85, -0.65), draw.uniform(-0.5, -0.15))
        return torch.minimum(field, self.z - leg[:, None])

    def face_mask(self, draw):
        worn = draw.chance(0.05)
        field = torch.minimum(0.815 - self.z, self.z - draw.uniform(0.735, 0.75)[:, None])
        field = torch.minimum(field, -0.085 - self.y)
        field = torch.where(self.head_weight > 0.8, field, NOWHERE)
        return torch.where(worn[:, None], field, NOWHERE)

    def outfit(self, draw):
        inner, inner_looseness, inner_hang = self.inner(draw)
        outer, outer_looseness, outer_hang = self.outer(draw)
        return Outfit(
            inner, outer, self.lower(draw), self.face_mask(draw),
            inner_looseness, outer_looseness, inner_hang, outer_hang, draw.chance(0.4),
        )  # fmt: skip


class Drape:
    """How far loose cloth falls outside a trunk: from its most prominent part straight down.

    The trunk's outline about a vertical axis is kept in a map of heights (from the shoulders down)
    by directions; a running maximum down the map is cloth that hangs.
    """

    HEIGHTS, DIRECTIONS = 56, 48
    TOP, BOTTOM = 0.60, -0.45
    AXIS_Y = -0.045

    def __init__(self, body):
        template = body.template
        self.axis = torch.tensor([0.0, self.AXIS_Y], device=template.device)
        self.on_trunk = (body.fields["arm_weight"] < 0.2) & (body.fields["head_weight"] < 0.2)
        self.on_trunk &= (template[:, 2] > self.BOTTOM) & (template[:, 2] < self.TOP)
        self.share = self.on_trunk.float() * (1 - 5 * body.fields["arm_weight"]).clamp(0, 1)
        # Cloth leaves the body gradually below the shoulders.
        self.share = self.share * ((self.TOP - template[:, 2]) / 0.08).clamp(0, 1)
        down = (self.TOP - template[:, 2]) / (self.TOP - self.BOTTOM)
        round_ = torch.atan2(template[:, 0], template[:, 1] - self.AXIS_Y) / (2 * torch.pi) + 0.5
        row = (down * self.HEIGHTS).long().clamp(0, self.HEIGHTS - 1)
        column = (round_ * self.DIRECTIONS).long().clamp(0, self.DIRECTIONS - 1)
        self.cell = row * self.DIRECTIONS + column
        # Two columns of the other end on either side, so that the map closes.
        columns = self.DIRECTIONS + 4
        across = (round_ * self.DIRECTIONS + 2) / columns
        self.grid = torch.stack([2 * across - 1, 2 * down.clamp(0, 1) - 1], -1)[None, None]
        step = (self.TOP - self.BOTTOM) / self.HEIGHTS
        self.below_top = step * torch.arange(self.HEIGHTS, device=template.device)

    def __call__(self, vertices, cling):
        """Horizontal offsets (B, V, 3) from rest `vertices`; `cling` (B,) is how fast the cloth comes
        back to the body, metres in per metre down."""
        count = len(vertices)
        from_axis = vertices[..., :2] - self.axis
        radius = from_axis.norm(dim=-1)
        outline = torch.zeros(count, self.HEIGHTS * self.DIRECTIONS, device=vertices.device)
        seen = radius * self.on_trunk
        outline = outline.scatter_reduce(1, self.cell.expand(count, -1), seen, "amax")
        outline = outline.reshape(count, 1, self.HEIGHTS, self.DIRECTIONS)
        outline = functional.pad(outline, (4, 4, 0, 0), mode="circular")
        outline = functional.max_pool2d(outline, (3, 5), stride=1, padding=(1, 0))
        slope = cling[:, None, None, None] * self.below_top[:, None]
        hanging = (outline + slope).cummax(2).values - slope
        hanging = functional.avg_pool2d(hanging, 3, stride=1, padding=1, count_include_pad=False)
        grid = self.grid.expand(count, -1, -1, -1)
        reach = functional.grid_sample(hanging, grid, padding_mode="border", align_corners=False)
        stand_off = (reach[:, 0, 0] - radius).clamp(0, 0.12) * self.share
        direction = from_axis / radius.clamp_min(1e-4)[..., None]
        return functional.pad(direction * stand_off[..., None], (0, 1))
