"""Meshes a person may wear that aren't cut from the skin: long hair or a veil, glasses, a drain.

All are placed beside the reference body (x to its left, y backward, z up, metres).
"""

from dataclasses import dataclass

import torch
import torch.nn.functional as functional


def sheet_faces(rows, columns):
    """Two triangles for each cell of a grid of vertices in row order, (2 cells, 3) int32."""
    index = torch.arange(rows * columns).reshape(rows, columns)
    a, b, c, d = index[:-1, :-1], index[:-1, 1:], index[1:, :-1], index[1:, 1:]
    corners = [torch.stack([a, c, b], -1), torch.stack([b, c, d], -1)]
    return torch.cat([one.reshape(-1, 3) for one in corners]).int()


@dataclass
class Mesh:
    vertices: torch.Tensor  # (N, 3)
    faces: torch.Tensor  # (F, 3) int32


def joined(meshes):
    vertices, faces, count = [], [], 0
    for mesh in meshes:
        vertices.append(mesh.vertices)
        faces.append(mesh.faces + count)
        count += len(mesh.vertices)
    return Mesh(torch.cat(vertices), torch.cat(faces))


def tube(line, radius, sides=6):
    """A tube around a polyline (N, 3)."""
    along = functional.normalize(torch.gradient(line, dim=0)[0], dim=-1)
    across = torch.linalg.cross(along, torch.tensor([0.3, 0.9, 0.2]).expand_as(along))
    across = functional.normalize(across, dim=-1)
    other = torch.linalg.cross(along, across)
    angle = torch.linspace(0, 2 * torch.pi, sides + 1)[None, :, None]
    ring = across[:, None] * torch.cos(angle) + other[:, None] * torch.sin(angle)
    vertices = line[:, None] + radius * ring
    return Mesh(vertices.reshape(-1, 3), sheet_faces(len(line), sides + 1))


def ribbon(line, direction, width):
    """A flat band around a polyline (N, 3), `width` wide along `direction`."""
    half = torch.as_tensor(direction, dtype=torch.float32) * width / 2
    return Mesh(torch.cat([line - half, line + half]), sheet_faces(2, len(line)))


def glasses():
    """Two rims, a bridge and the sides, and apart from them the two lenses."""
    frame, lenses = [], []
    angle = torch.linspace(0, 2 * torch.pi, 25)
    for sign in (1.0, -1.0):
        # A rounded rectangle that follows the face a little.
        across = 0.026 * torch.sign(torch.cos(angle)) * torch.cos(angle).abs() ** 0.7
        up = 0.019 * torch.sign(torch.sin(angle)) * torch.sin(angle).abs() ** 0.7
        x = 0.035 + across
        y = -0.152 + 0.35 * (x - 0.02).clamp(min=0)
        rim = torch.stack([sign * x, y, 0.830 + up], -1)
        inner = torch.stack([sign * (0.035 + 0.9 * across), y, 0.830 + 0.88 * up], -1)
        frame.append(Mesh(torch.cat([rim, inner]), sheet_faces(2, len(rim))))
        frame.append(ribbon(rim, (0.0, 1.0, 0.0), 0.003))
        middle = inner.mean(0, keepdim=True)
        lenses.append(Mesh(torch.cat([middle.expand_as(inner), inner]), sheet_faces(2, len(inner))))
        side = torch.tensor(
            [[0.061, -0.139, 0.838], [0.072, -0.120, 0.838], [0.078, -0.09, 0.836],
             [0.080, -0.055, 0.833], [0.083, -0.043, 0.820]]
        )  # fmt: skip
        frame.append(ribbon(side * torch.tensor([sign, 1.0, 1.0]), (0.0, 0.0, 1.0), 0.005))
    bridge = torch.tensor([[-0.011, -0.152, 0.836], [0.0, -0.156, 0.839], [0.011, -0.152, 0.836]])
    frame.append(ribbon(bridge, (0.0, 0.0, 1.0), 0.003))
    return joined(frame), joined(lenses)


def drain():
    """A tube from below the left armpit down to a bottle at the hip."""
    down = torch.linspace(0, 1, 20)
    line = torch.stack(
        [
            0.140 + 0.065 * torch.sin(torch.pi * down) + 0.045 * down,
            -0.10 - 0.075 * torch.sin(2.4 * down),
            0.46 - 0.34 * down,
        ],
        -1,
    )
    bottle = torch.linspace(0, torch.pi, 10)
    profile = 0.026 * torch.sin(bottle).clamp(min=1e-3) ** 0.5
    angle = torch.linspace(0, 2 * torch.pi, 13)
    vertices = torch.stack(
        [
            line[-1, 0] + profile[:, None] * torch.cos(angle),
            line[-1, 1] + profile[:, None] * torch.sin(angle),
            (line[-1, 2] - 0.05 + 0.05 * torch.cos(bottle))[:, None].expand(-1, 13),
        ],
        -1,
    ).reshape(-1, 3)
    return joined([tube(line, 0.0035), Mesh(vertices, sheet_faces(10, 13))])


class Curtain:
    """Long hair or a veil: a sheet over the skull that falls from there, cut to each person's measure.

    The sheet is known on a fixed fine grid, from the crown down and around from cheek to cheek. Its
    lower part follows the skin that it lies on. `cut` samples the grid, placed, for the mesh.
    """

    NEIGHBOURS = 4

    ROWS, COLUMNS = 26, 45  # of the mesh
    FINE_ROWS, FINE_COLUMNS = 52, 61
    REACH = 2.25  # radians from the back of the head to the farthest front edge
    CENTRE = (0.0, -0.055, 0.865)
    RADII = (0.086, 0.106, 0.092)
    LONGEST = 0.52  # metres below the skull's widest ring
    SKULL_ROWS = 0.35  # of the rows lie on the skull

    def __init__(self, body):
        self.device = body.template.device
        self.faces = sheet_faces(self.ROWS, self.COLUMNS).to(self.device)
        down = torch.linspace(0, 1, self.FINE_ROWS, device=self.device)[:, None]
        around = self.REACH * torch.linspace(-1, 1, self.FINE_COLUMNS, device=self.device)
        polar = (down / self.SKULL_ROWS).clamp(max=1) * torch.pi / 2
        fallen = ((down - self.SKULL_ROWS) / (1 - self.SKULL_ROWS)).clamp(min=0) * self.LONGEST
        fallen = fallen.expand(-1, self.FINE_COLUMNS)
        ring = torch.sin(polar)
        x = self.RADII[0] * ring * torch.sin(around)
        y = self.CENTRE[1] + self.RADII[1] * ring * torch.cos(around)
        z = self.CENTRE[2] + self.RADII[2] * torch.cos(polar) - fallen
        self.fallen = fallen.reshape(-1)
        self.outward = torch.stack([x, y - self.CENTRE[1], 0.6 * (z + fallen - self.CENTRE[2])], -1)
        self.outward = functional.normalize(self.outward, dim=-1).reshape(-1, 3)
        points = torch.stack([x, y, z], -1).reshape(-1, 3)
        self.behind = self._off_the_body(points, body, torch.cos(around), to_front=False)
        self.before = self._off_the_body(points, body, torch.cos(around), to_front=True)
        # On the neck it follows the head, on the shoulders the trunk.
        self.trunk_share = ((self.fallen - 0.08) / 0.14).clamp(0, 1)
        self.side = torch.sign(around).expand(self.FINE_ROWS, -1).reshape(-1)

    def _off_the_body(self, points, body, backward, to_front):
        """The sheet with what is at the sides moved to the back or the front of the shoulders, and all
        of it off the skin: (points, nearest skin vertices (fine, NEIGHBOURS))."""
        lateral = (1 - backward.clamp(min=0)).expand(self.FINE_ROWS, -1).reshape(-1)
        low = ((self.fallen - 0.10) / 0.12).clamp(0, 1)
        points = points.clone()
        target = -0.105 if to_front else 0.045
        points[:, 1] = torch.lerp(points[:, 1], points.new_tensor(target), low * lateral.clamp(0, 1))
        still = torch.nonzero(body.fields["arm_weight"] < 0.4)[:, 0]
        skin = body.template[still]
        normal = body.normals(body.template[None])[0][still]
        for _ in range(3):
            nearest = torch.cdist(points, skin).argmin(1)
            depth = ((points - skin[nearest]) * normal[nearest]).sum(-1)
            points = points + normal[nearest] * (0.014 - depth).clamp(0, 0.06)[:, None]
        near = torch.cdist(points, skin).topk(self.NEIGHBOURS, largest=False).indices
        return points, still[near]

    def cut(self, placed, reach_left, reach_right, lengths):
        """(B, ROWS * COLUMNS, 3) from `placed` (B, fine, 3); reaches (B,) are shares of REACH, and
        `lengths` (B, COLUMNS) shares of the whole length."""
        grid = placed.reshape(len(placed), self.FINE_ROWS, self.FINE_COLUMNS, 3).permute(0, 3, 1, 2)
        across = torch.linspace(-1, 1, self.COLUMNS, device=self.device)
        across = torch.where(across > 0, across * reach_left[:, None], across * reach_right[:, None])
        down = torch.linspace(0, 1, self.ROWS, device=self.device)[:, None] * lengths[:, None]
        where = torch.stack([across[:, None].expand_as(down), 2 * down - 1], -1)
        cut = functional.grid_sample(grid, where, align_corners=True)
        return cut.flatten(2).transpose(1, 2)
