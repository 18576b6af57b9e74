"""Dresses posed bodies: clothes, hair and headwear, glasses, and a chest changed by surgery.

Nothing here moves a landmark: those are taken from the bare body.
"""

from dataclasses import dataclass

import torch

from accessories import Curtain, Mesh, drain, glasses
from filters import lookup, periodic_noise
from garments import Drape, Outfit, Tailor
from pose import Draw

HAIR, HEADWEAR, FRAME, LENS, DRAIN = "hair", "headwear", "frame", "lens", "drain"
# What each mesh beside the skin is made of. Long hair's sheet is a veil on some.
MADE_OF = {
    "hair": HAIR, "bun": HAIR, "knot": HEADWEAR, "visor": HEADWEAR, "bandana": HEADWEAR,
    "headscarf": HEADWEAR, "neck_scarf": HEADWEAR, "cap": HEADWEAR, "curtain": HAIR,
    "frame": FRAME, "lens": LENS, "drain": DRAIN,
}  # fmt: skip


@dataclass
class Head:
    """What each person (B,) wears on the head, bools, and how thick the hair stands, metres."""

    bald: torch.Tensor
    stubble: torch.Tensor  # of the bald: very short hair
    long: torch.Tensor  # the curtain
    model_hair: torch.Tensor  # the body model's own long hair
    bun: torch.Tensor
    tail: torch.Tensor
    bandana: torch.Tensor
    headscarf: torch.Tensor
    veil: torch.Tensor
    cap: torch.Tensor
    hat: torch.Tensor
    over_ears: torch.Tensor
    thickness: torch.Tensor
    hairline: torch.Tensor


@dataclass
class Dressed:
    """Posed people and what `studio` needs to paint them; N = skin and all meshes beside it."""

    bare: torch.Tensor  # (B, V, 3)
    vertices: torch.Tensor  # (B, N, 3)
    faces: torch.Tensor  # (F, 3) int32
    hidden: torch.Tensor  # (B, N) bool: not worn
    normals: torch.Tensor  # (B, N, 3)
    outfit: Outfit
    scalp: torch.Tensor  # (B, V) hair on the skin where positive
    head: Head
    ears_covered: torch.Tensor  # (B,) both ears lie under hair or cloth
    template: torch.Tensor  # (N, 3) each vertex beside the reference body
    part: torch.Tensor  # (N,) 0 the skin, else 1 + the place in MADE_OF


def draw_head(draw):
    kind = draw.uniform(0, 1)
    # Short hair is what none of the others are.
    bald, thick = kind < 0.14, (kind >= 0.36) & (kind < 0.48)
    bun, tail = (kind >= 0.48) & (kind < 0.60), (kind >= 0.60) & (kind < 0.70)
    long, model_hair = (kind >= 0.70) & (kind < 0.84), (kind >= 0.84) & (kind < 0.90)
    covered = kind >= 0.90
    which = draw.uniform(0, 1)
    bandana, headscarf, veil = covered & (which < 0.35), covered & (which < 0.6), covered & (which >= 0.6)
    headscarf = headscarf & ~bandana
    topped = draw.chance(0.07) & ~covered & ~bun
    peaked = draw.chance(0.5)
    thickness = torch.where(thick, draw.uniform(0.012, 0.032), draw.uniform(0.001, 0.012))
    thickness = torch.where(bald | covered, draw.uniform(0.0, 0.001), thickness)
    over_ears = (thick & draw.chance(0.6)) | headscarf | veil | long & draw.chance(0.7)
    return Head(
        bald | covered & draw.chance(0.4), draw.chance(0.4), long, model_hair, bun, tail, bandana, headscarf, veil,
        topped & peaked, topped & ~peaked, over_ears, thickness, draw.normal(0, 0.35),
    )  # fmt: skip


class Wardrobe:
    def __init__(self, body, generator):
        self.body, self.generator = body, generator
        device = body.template.device
        self.tailor, self.drape, self.curtain = Tailor(body), Drape(body), Curtain(body)
        self.at_head, self.at_chest = body.names.index("head"), body.names.index("spine01")
        self.at_waist = body.names.index("spine03")
        frame, lenses = glasses()
        self.own_meshes = {
            name: Mesh(mesh.vertices.to(device), mesh.faces.to(device))
            for name, mesh in {"frame": frame, "lens": lenses, "drain": drain()}.items()
        }
        # Where a bun sits: out from here by so much.
        self.skull_middle = torch.tensor([0.0, -0.05, 0.865], device=device)
        self.skull_radii = torch.tensor([0.0, 0.100, 0.092], device=device)
        self._number_meshes(device)

    def _number_meshes(self, device):
        """Rows of every mesh, all faces, and the reference position of every vertex."""
        body = self.body
        self.rows = {name: extra.rows for name, extra in body.extras.items()}
        count = len(body.all_template)
        faces, template = [body.all_faces], [body.all_template]
        curtain = self.curtain.cut(
            self.curtain.behind[0][None], *torch.ones(2, 1, device=device),
            torch.ones(1, self.curtain.COLUMNS, device=device),
        )[0]  # fmt: skip
        meshes = {"curtain": (curtain, self.curtain.faces)}
        meshes |= {name: (mesh.vertices, mesh.faces) for name, mesh in self.own_meshes.items()}
        for name, (points, triangles) in meshes.items():
            self.rows[name] = slice(count, count + len(points))
            template.append(points)
            faces.append(triangles + count)
            count += len(points)
        self.faces, self.template = torch.cat(faces).contiguous(), torch.cat(template)
        # Which mesh each vertex belongs to: 0 the skin, then in the order of MADE_OF.
        self.part = torch.zeros(count, device=device)
        for number, name in enumerate(MADE_OF, 1):
            self.part[self.rows[name]] = number

    def dress(self, rest, heads, posed):
        """`rest` skin (B, V, 3) and bone `heads` (B, K, 3) at rest, and the pose."""
        body = self.body
        draw = Draw(len(rest), self.generator)
        bare = body.skin(rest, heads, posed)
        head, outfit = draw_head(draw), self.tailor.outfit(draw)
        figure = self.figure(rest, head, draw)
        normals = body.normals(figure)
        scalp = self.scalp(head)
        folds = self.folds(draw)
        clothed = figure + self.clothing(figure, normals, outfit, folds, draw)
        clothed = clothed + normals * self.hair_stand(scalp, head, folds)[..., None]
        worn = torch.cat([clothed, self.beside_head(figure, normals, head, draw)], 1)
        skinned = body.skin(worn, heads, posed)
        glasses_on, dark = draw.chance(0.14), draw.chance(0.15)
        drain_on = draw.chance(0.05)
        own = self.own(figure, skinned, heads, posed, head, draw)
        vertices = torch.cat([skinned, own], 1)
        shown = {
            "hair": head.model_hair, "bun": head.bun | head.tail, "knot": head.bandana & draw.chance(0.5),
            "visor": head.cap, "bandana": head.bandana, "headscarf": head.headscarf | head.veil,
            "neck_scarf": (head.headscarf & draw.chance(0.5)) | head.veil, "cap": head.cap | head.hat,
            "curtain": head.long | head.veil, "frame": glasses_on, "lens": glasses_on & dark,
            "drain": drain_on,
        }  # fmt: skip
        hidden = torch.zeros(vertices.shape[:2], dtype=torch.bool, device=vertices.device)
        for name, on in shown.items():
            hidden[:, self.rows[name]] = ~on[:, None]
        return Dressed(
            bare, vertices, self.faces, hidden, body.normals(vertices, self.faces), outfit, scalp, head,
            head.over_ears | head.model_hair, self.template, self.part,
        )  # fmt: skip

    def figure(self, rest, head, draw):
        """The body as it is under the clothes: breasts after surgery, ears pressed by what covers them."""
        both, one, left = draw.chance(0.10), draw.chance(0.22), draw.chance(0.5)
        flat = torch.stack([both | one & left, both | one & ~left], 1)
        flatness = draw.uniform(0.4, 1.05, 2)
        figure = self.body.flatten_breasts(rest, torch.where(flat, flatness, draw.uniform(-0.2, 0.2, 2)))
        pressed = (head.over_ears | head.long | head.model_hair).float() * draw.uniform(0.5, 0.95)
        return self.body.membranes["ears"].over(figure, pressed)

    def folds(self, draw):
        """Slow waves over the body (B, V), of unit spread."""
        noise = periodic_noise(1, 8, 3, self.generator)
        where = self.body.template * draw.uniform(0.4, 1.4, 1, 3) + draw.uniform(0, 1, 1, 3)
        return lookup(noise, where.transpose(1, 2))[:, 0]

    def clothing(self, figure, normals, outfit, folds, draw):
        """Offsets (B, V, 3) of the outermost layer of cloth from the skin."""
        def worn(field, ramp=0.02):
            return (field / ramp).clamp(0, 1)

        inner, outer = worn(outfit.inner), worn(outfit.outer)
        waves = (1 + 0.7 * folds).clamp(0.1, 2.5)
        stand_off = 0.001 * inner + outfit.inner_looseness[:, None] * inner * waves
        stand_off = torch.maximum(stand_off, (0.004 + outfit.outer_looseness[:, None] * waves) * outer)
        stand_off = stand_off + 0.003 * worn(outfit.lower, 0.01) + 0.005 * worn(outfit.mask, 0.01)
        hang = torch.maximum(outfit.inner_hang[:, None] * inner, outfit.outer_hang[:, None] * outer)
        fall = self.drape(figure, draw.uniform(0.0, 0.5))
        return normals * stand_off[..., None] + fall * (hang * (1 + 0.15 * folds))[..., None]

    def scalp(self, head):
        """Hair on the skin (B, V) where positive, in steps of 2 cm from the hairline."""
        fields = self.body.fields
        scalp = fields["scalp"] + head.hairline[:, None]
        over = head.over_ears[:, None] & (fields["ear"] > 0) & (self.body.template[:, 2] > 0.77)
        scalp = torch.where(over, torch.maximum(scalp, 2 * fields["ear"] - 0.3), scalp)
        scalp = torch.where(fields["skull_weight"] + fields["head_weight"] > 0.5, scalp, -1.0)
        return torch.where((head.bald & ~head.stubble)[:, None], -1.0, scalp)

    def hair_stand(self, scalp, head, folds):
        flat = head.bald | head.bandana | head.headscarf | head.veil | head.cap | head.hat
        thickness = torch.where(flat, 0 * head.thickness, head.thickness)
        return (scalp / 0.7).clamp(0, 1) * thickness[:, None] * (1 + 0.35 * folds)

    def beside_head(self, figure, normals, head, draw):
        """Rest positions of all meshes that come with the body, in its order."""
        body, placed = self.body, []
        skin = {
            "bandana": draw.uniform(0.003, 0.010), "headscarf": draw.uniform(0.004, 0.016),
            "neck_scarf": draw.uniform(0.006, 0.028), "cap": draw.uniform(0.006, 0.022),
        }  # fmt: skip
        wave = 1 + 0.2 * self.folds(draw)
        for name, extra in body.extras.items():
            if extra.blend is not None:
                out = normals * (skin[name][:, None] * wave)[..., None]
                placed.append(extra.of(figure + out))
            elif name == "hair":
                placed.append(body.on_head(self.hung_hair(extra.template, draw), figure))
            elif name in ("bun", "knot"):
                placed.append(body.on_head(self.ball(extra.template, head, name, draw), figure))
            else:
                placed.append(body.on_head(extra.template.expand(len(figure), -1, -1), figure))
        return torch.cat(placed, 1)

    def hung_hair(self, template, draw):
        points = template.repeat(draw.count, 1, 1)
        ends = draw.uniform(0.52, 0.74)[:, None] + draw.normal(0, 0.03, len(template))
        points[..., 0] *= draw.uniform(0.9, 1.08)[:, None]
        points[..., 2] = torch.maximum(points[..., 2], ends)
        return points

    def ball(self, template, head, name, draw):
        """A bun or the tail's upper end, or a scarf's knot, at the back of the head."""
        size = draw.uniform(0.02, 0.05)
        round_bun = torch.stack([size, size, size * draw.uniform(0.7, 1.1)], -1)
        girth, length = draw.uniform(0.013, 0.028), draw.uniform(0.06, 0.17)
        hanging = torch.stack([girth, girth * draw.uniform(0.8, 1.3), length], -1)
        is_tail = (head.tail & (name == "bun"))[:, None]
        radii = torch.where(is_tail, hanging, round_bun if name == "bun" else 0.5 * round_bun)
        angle = torch.where(head.tail, draw.uniform(-0.3, 0.8), draw.uniform(-0.6, 1.5))
        out = torch.stack([0 * angle, torch.cos(angle), torch.sin(angle)], -1)
        seat = self.skull_middle + out * self.skull_radii
        seat = seat + torch.where(
            is_tail,
            torch.stack([0 * girth, 0.02 + 0 * girth, -0.75 * length], -1),
            out * 0.6 * size[:, None],
        )
        lumps = 1 + 0.06 * draw.normal(0, 1, len(template), 1)
        return seat[:, None] + template * radii[:, None] * lumps

    def own(self, figure, clothed, heads, posed, head, draw):
        """Posed curtain, glasses and drain; `clothed` is the posed skin with clothes."""
        body, curtain = self.body, self.curtain

        def carried(points, bone):
            turn, origin = posed.rotations[:, bone], heads[:, bone]
            return (points - origin[:, None]) @ turn.transpose(1, 2) + posed.positions[:, None, bone]

        in_front = torch.where(curtain.side > 0, draw.chance(0.4)[:, None], draw.chance(0.4)[:, None])
        in_front = in_front & ~head.veil[:, None] & (curtain.side != 0)
        (before, beside_before), (behind, beside_behind) = curtain.before, curtain.behind
        sheet = torch.where(in_front[..., None], before, behind)
        beside = torch.where(in_front[..., None], beside_before, beside_behind)
        volume = torch.where(head.veil, draw.uniform(0.0, 0.012), draw.uniform(-0.004, 0.024))
        volume = curtain.outward * volume[:, None, None]
        # A parting or an uneven comb moves whole locks.
        lock = draw.normal(0, 0.004, 1, curtain.FINE_COLUMNS).expand(-1, curtain.FINE_ROWS, -1).flatten(1)
        volume = volume + curtain.outward * (lock * (curtain.fallen > 0))[..., None]
        on_head = carried(body.on_head(sheet + volume, figure), self.at_head)
        # On the trunk it lies on the cloth as the reference's does.
        offset = (sheet[:, :, None] - body.template[beside]).mean(2)
        lain_on = clothed.gather(1, beside.flatten(1)[..., None].expand(-1, -1, 3))
        lain_on = lain_on.unflatten(1, (-1, curtain.NEIGHBOURS)).mean(2)
        on_trunk = lain_on + offset @ posed.rotations[:, self.at_chest].transpose(1, 2)
        sheet = torch.lerp(on_head, on_trunk, curtain.trunk_share[:, None])
        reach = torch.where(head.veil, draw.uniform(0.72, 0.86), draw.uniform(0.45, 0.86))
        length = torch.where(head.veil, draw.uniform(0.62, 0.95), draw.uniform(0.52, 1.0))
        ragged = draw.normal(0, 0.012, curtain.COLUMNS)
        lengths = (length[:, None] + ragged).clamp(0.4, 1)
        sheet = curtain.cut(sheet, reach * draw.uniform(0.9, 1.1), reach * draw.uniform(0.9, 1.1), lengths)

        on_face = [
            carried(body.on_head(self.own_meshes[name].vertices.expand(len(figure), -1, -1), figure), self.at_head)
            for name in ("frame", "lens")
        ]
        side = torch.where(draw.chance(0.5), 1.0, -1.0)
        mirrored = torch.stack([side, torch.ones_like(side), torch.ones_like(side)], -1)
        tube = self.own_meshes["drain"].vertices * mirrored[:, None]
        # It hangs where this waist is, not the reference's.
        waist = heads[:, None, self.at_waist] - body.template_heads[self.at_waist]
        return torch.cat([sheet, *on_face, carried(tube + waist, self.at_waist)], 1)
