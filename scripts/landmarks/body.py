#!/usr/bin/env python3
"""Random adult bodies for the landmark net, with torch alone.

    python body.py export --out body.npz

`export` needs anny; see adults.py. `Body` reads the exported file and needs only torch and numpy, so
that it runs where the training runs.

Axes are anny's: x to the subject's left, y backward, z up, metres.
"""

import argparse
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import torch
import torch.nn.functional as functional

from skeleton import SIDES, other_side


@dataclass
class Membrane:
    """The smooth sheet that spans a region of the skin from its rim: what is there without the bulge."""

    inside: torch.Tensor  # (I,) vertices of the region
    rim: torch.Tensor  # (R,) vertices just outside it
    matrix: torch.Tensor  # (I, R) rows sum to 1

    def over(self, vertices, amount):
        """`vertices` (B, V, 3) with the region moved to the membrane by `amount` (B,) or (B, I)."""
        sheet = self.matrix @ vertices[:, self.rim]
        amount = amount.reshape(len(vertices), -1, 1)
        moved = vertices.clone()
        moved[:, self.inside] += amount * (sheet - vertices[:, self.inside])
        return moved


@dataclass
class Extra:
    """A mesh that a person may wear. It follows the skin after the body's own vertices.

    A shell is cut from the skin: each of its vertices is a blend of two skin vertices. Anything else
    is placed on the head, from where it is in the reference woman's frame.
    """

    name: str
    rows: slice  # of all vertices, body's and extras'
    faces: slice  # of all faces
    template: torch.Tensor  # (N, 3) in the reference woman's frame
    blend: tuple | None  # (first (N,), second (N,), share (N,) of the second); None: not a shell

    def of(self, values):
        """Values per skin vertex (..., V, C) as values per vertex of this shell (..., N, C)."""
        first, second, share = self.blend
        return torch.lerp(values[..., first, :], values[..., second, :], share[:, None])


class Folds:
    """Mends the folds that plain skinning leaves at bent and raised arms.

    Rest and posed shape are smoothed alike; the detail that smoothing took from the rest shape is put
    back on the smoothed posed shape in each vertex's own frame.
    """

    def __init__(self, faces, share, patch, sources, smoothing):
        """`share` (V,): how far each vertex goes to its mended place.

        `smoothing` (patch, sources) smooths the vertices `patch`, which are those with a share and all
        their neighbours, from the vertices `sources`.
        """
        self.rows = torch.nonzero(share)[:, 0]
        self.share = share[self.rows, None]
        self.sources = sources
        # Stored in half precision: a row must still sum to 1.
        self.smoothing = smoothing / smoothing.sum(dim=1, keepdim=True)
        number = torch.full((len(share),), -1, device=share.device)
        number[patch] = torch.arange(len(patch), device=share.device)
        self.faces = number[faces[(number[faces.long()] >= 0).all(dim=1)].long()]
        self.own = number[self.rows]
        # Each edge that leaves a row: the row's number among the rows, and the other end in the patch.
        row_of = torch.full((len(patch),), -1, device=share.device)
        row_of[self.own] = torch.arange(len(self.rows), device=share.device)
        start, end = self.faces.flatten(), self.faces.roll(-1, dims=1).flatten()
        self.edge_row, self.edge_end = row_of[start][row_of[start] >= 0], end[row_of[start] >= 0]
        # Any edge gives a row's frame its first axis; this one is the same on every machine.
        self.first_end = torch.full_like(self.own, len(patch)).scatter_reduce(
            0, self.edge_row, self.edge_end, "amin"
        )

    def _smoothed(self, vertices):
        """Smoothed rows (B, R, 3), their frames (B, R, 3, 3), and each edge in its row's frame (B, E, 3)."""
        # One large product: all pictures' coordinates side by side.
        flat = vertices[:, self.sources].transpose(0, 1).flatten(1)
        patch = (self.smoothing @ flat).unflatten(1, (len(vertices), 3)).transpose(0, 1)
        rows = patch[:, self.own]
        normal = _vertex_normals(patch, self.faces)[:, self.own]
        first = patch[:, self.first_end] - rows
        first = functional.normalize(first - (first * normal).sum(-1, keepdim=True) * normal, dim=-1)
        frames = torch.stack([first, torch.linalg.cross(normal, first), normal], dim=-1)
        edges = patch[:, self.edge_end] - rows[:, self.edge_row]
        return rows, frames, _in_frames(edges, frames[:, self.edge_row])

    def mended(self, rest, posed):
        """`posed` (B, N, 3) with its folds mended; the body's vertices come first in both."""
        rest_rows, rest_frames, rest_edges = self._smoothed(rest)
        rows, frames, edges = self._smoothed(posed)
        # The turn within the tangent plane that fits all edges of a row best, as a complex number.
        before = torch.complex(rest_edges[..., 0], rest_edges[..., 1])
        fitting = before.conj() * torch.complex(edges[..., 0], edges[..., 1])
        turn = torch.zeros(rows.shape[:2], dtype=fitting.dtype, device=rows.device)
        turn.index_add_(1, self.edge_row, fitting)
        turn = turn / turn.abs().clamp(min=1e-12)

        detail = _in_frames(rest[:, self.rows] - rest_rows, rest_frames)
        along = torch.complex(detail[..., 0], detail[..., 1]) * turn
        detail = torch.stack([along.real, along.imag, detail[..., 2]], dim=-1)
        target = rows + (frames @ detail[..., None])[..., 0]
        mended = posed.clone()
        mended[:, self.rows] += self.share * (target - posed[:, self.rows])
        return mended


def _in_frames(vectors, frames):
    """Coordinates of `vectors` (..., 3) along the columns of `frames` (..., 3, 3)."""
    return (vectors[..., :, None] * frames).sum(-2)


class Body:
    """Bodies of random adults, posed by linear blend skinning, and their landmarks."""

    def __init__(self, path, device="cpu"):
        self.device = torch.device(device)
        stored = np.load(path)
        real = lambda name: torch.tensor(stored[name].astype(np.float32), device=self.device)
        whole = lambda name: torch.tensor(stored[name].astype(np.int64), device=self.device)

        self.names = [str(name) for name in stored["bones"]]
        self.parents = [int(parent) for parent in stored["parents"]]
        self.weights = real("weights")
        self.faces = whole("faces").int()
        self.template = real("template")
        self.template_heads = real("template_heads")
        self.fields = {str(name): field for name, field in zip(stored["field_names"], real("fields"))}

        self.mean = real("mean")
        self.basis = real("basis")
        self.coefficients = real("coefficients")
        self.woman = whole("woman").bool()
        self.held_out = whole("held_out").bool()

        self.landmark_names = [str(name) for name in stored["landmark_names"]]
        self.mirrored_order = torch.tensor(
            [self.landmark_names.index(other_side(name)) for name in self.landmark_names], device=self.device
        )
        self._skin_landmarks = whole("skin_landmarks")  # positions in landmark_names
        self._skin_rows, self._skin_shares = whole("skin_rows"), real("skin_shares")
        self._carried_landmarks, self._carried_bones = whole("carried_landmarks"), whole("carried_bones")
        self._carried_rows, self._carried_shares = whole("carried_rows"), real("carried_shares")
        self._joint_landmarks, self._joint_bones = whole("joint_landmarks"), whole("joint_bones")

        self.membranes = {
            name: Membrane(whole(f"{name}_inside"), whole(f"{name}_rim"), real(f"{name}_matrix"))
            for name in map(str, stored["membrane_names"])
        }
        self._add_extras(stored, real, whole)
        self._folds = Folds(
            self.faces,
            self.fields["fold"],
            whole("fold_patch"),
            whole("fold_sources"),
            real("fold_smoothing"),
        )
        skull = torch.nonzero((self.fields["skull_weight"] > 0.99) & (self.fields["ear"] < 0.01))[:, 0]
        self._skull = skull
        self._skull_inverse = torch.linalg.pinv(_with_ones(self.template[skull]).double()).float()

    def _add_extras(self, stored, real, whole):
        self.extras = {}
        weights, template, faces = [self.weights], [self.template], [self.faces]
        rows, face_count = len(self.template), len(self.faces)
        for name in map(str, stored["extra_names"]):
            points, triangles = real(f"{name}_template"), whole(f"{name}_faces").int()
            blend = None
            if f"{name}_share" in stored:
                blend = (whole(f"{name}_first"), whole(f"{name}_second"), real(f"{name}_share"))
            extra = Extra(
                name,
                slice(rows, rows + len(points)),
                slice(face_count, face_count + len(triangles)),
                points,
                blend,
            )
            if blend is not None:
                weights.append(extra.of(self.weights))
            else:
                rigid = torch.zeros(len(points), len(self.names), device=self.device)
                rigid[:, self.names.index("head")] = 1
                weights.append(rigid)
            template.append(points)
            faces.append(triangles + rows)
            rows, face_count = rows + len(points), face_count + len(triangles)
            self.extras[name] = extra
        self.all_weights = torch.cat(weights)  # (V + extras, K)
        self.all_template = torch.cat(template)  # (V + extras, 3)
        self.all_faces = torch.cat(faces).contiguous()  # (F + extras, 3) int32

    def shapes(self, count, generator, held_out=False):
        """Random adults at rest: (vertices (B, V, 3), bone heads (B, K, 3)); three in four are women.

        Each is a blend of two drawn adults of one sex, with a little of neither. Held-out adults took
        no part in the components and are never blended with others.
        """
        random = lambda *size: torch.rand(*size, generator=generator, device=self.device)
        is_woman = random(count) < 0.75
        ours = self.held_out if held_out else ~self.held_out

        def drawn():
            picks = []
            for sex in (self.woman, ~self.woman):
                pool = torch.nonzero(sex & ours)[:, 0]
                picks.append(pool[(random(count) * len(pool)).long().clamp(max=len(pool) - 1)])
            return self.coefficients[torch.where(is_woman, *picks)]

        noise = torch.randn(count, self.coefficients.shape[1], generator=generator, device=self.device)
        # The first component is stature, whose range must hold.
        noise[:, 0] = 0
        shape = torch.lerp(drawn(), drawn(), 0.4 * random(count, 1)) + 0.15 * noise
        points = (self.mean + shape @ self.basis).reshape(count, -1, 3)
        vertices = len(self.template)
        return points[:, :vertices], points[:, vertices:]

    def flatten_breasts(self, vertices, amount):
        """Rest `vertices` (B, V, 3) with left and right breast flattened by `amount` (B, 2).

        0 leaves the breast, 1 takes it to the chest wall; a little less than 0 enlarges it. Fields
        breast_left and breast_right are 1 on the breast and fall to 0 at its rim.
        """
        for column, side in enumerate(SIDES):
            name = f"breast_{side}"
            membrane = self.membranes[name]
            share = amount[:, column, None] * self.fields[name][membrane.inside]
            vertices = membrane.over(vertices, share)
        return vertices

    def on_head(self, points, vertices):
        """Points (N, 3) or (B, N, 3) at the reference head, brought to those of rest `vertices`."""
        return _with_ones(points) @ (self._skull_inverse @ vertices[:, self._skull])

    def _transforms(self, heads, posed):
        """Per bone the rotation and the shift of what it carries, (B, K, 12)."""
        shift = posed.positions - (posed.rotations @ heads[..., None])[..., 0]
        return torch.cat([posed.rotations.flatten(2), shift], dim=2)

    def _skinned(self, vertices, weights, transforms):
        blended = weights @ transforms
        turn, shift = blended[..., :9].unflatten(-1, (3, 3)), blended[..., 9:]
        # Written out: a batched product of 3 x 3 matrices is far slower.
        turned = (
            turn[..., 0] * vertices[..., 0:1]
            + turn[..., 1] * vertices[..., 1:2]
            + turn[..., 2] * vertices[..., 2:3]
        )
        return turned + shift

    def skin(self, vertices, heads, posed):
        """Posed vertices from those at rest: (B, V, 3), or (B, V + extras, 3) with all the extras."""
        weights = self.weights if vertices.shape[1] == len(self.weights) else self.all_weights
        return self._folds.mended(vertices, self._skinned(vertices, weights, self._transforms(heads, posed)))

    def landmarks(self, vertices, heads, posed):
        """Landmarks (B, 23, 3) of the bare posed body; `vertices` are at rest, with or without extras.

        A skin landmark is the mean of its posed vertices. The acromion is bone: the mean of its
        vertices at rest, carried by the scapula. A joint is the head of its bone.
        """
        points = vertices.new_empty(len(vertices), len(self.landmark_names), 3)
        transforms = self._transforms(heads, posed)
        rows = self._skin_rows.flatten()
        skin = self._skinned(vertices[:, rows], self.weights[rows], transforms)
        skin = skin.unflatten(1, self._skin_rows.shape)
        points[:, self._skin_landmarks] = (skin * self._skin_shares[..., None]).sum(2)

        bone = self._carried_bones
        at_rest = (vertices[:, self._carried_rows] * self._carried_shares[..., None]).sum(2)
        turned = (posed.rotations[:, bone] @ (at_rest - heads[:, bone])[..., None])[..., 0]
        points[:, self._carried_landmarks] = turned + posed.positions[:, bone]

        points[:, self._joint_landmarks] = posed.positions[:, self._joint_bones]
        return points

    def normals(self, vertices, faces=None):
        """Outward unit normals (B, N, 3); `faces` defaults to the body's, or to all if extras are there."""
        if faces is None:
            faces = self.faces if vertices.shape[1] == len(self.weights) else self.all_faces
        return _vertex_normals(vertices, faces.long())


def _vertex_normals(vertices, faces):
    a, b, c = (vertices[:, faces[:, corner]] for corner in range(3))
    across = torch.linalg.cross(b - a, c - a)
    total = torch.zeros_like(vertices)
    for corner in range(3):
        total.index_add_(1, faces[:, corner], across)
    return functional.normalize(total, dim=-1)


def _with_ones(points):
    return torch.cat([points, torch.ones_like(points[..., :1])], dim=-1)


def main():
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    command = parser.add_subparsers(dest="command", required=True).add_parser(
        "export", help="write the body file"
    )
    command.add_argument("--out", type=Path, required=True, help="the .npz to write")
    command.add_argument("--seed", type=int, default=0)
    command.add_argument("--adults", type=int, default=1024, help="how many to draw")
    command.add_argument("--components", type=int, default=96, help="of shape")
    command.add_argument("--held-out", type=int, default=128, help="adults kept for testing")
    arguments = parser.parse_args()

    # Not at the top: the training machine has no anny.
    import adults

    adults.export(arguments.out, arguments.seed, arguments.adults, arguments.components, arguments.held_out)


if __name__ == "__main__":
    main()
