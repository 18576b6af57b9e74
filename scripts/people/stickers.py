"""Round dots of one colour on the landmarks, and other coloured things that are none.

A dot follows the surface it sticks to: the cloth where cloth lies over the
landmark, else the skin. On the spine, which a flat dot shows edge-on to a
camera at the side, it is a ball. World axes as in camera.py; metres.
"""
from dataclasses import dataclass

import bpy  # noqa: F401  brings mathutils
import mathutils
import numpy as np
from mathutils.bvhtree import BVHTree

from body import LANDMARKS, SIDES, mesh, unit, vertex_normals
from camera import project
from clothes import Piece, ball, layers, mask

# Over the surface, so that it is seen; and how far it follows a surface that is not flat.
LIFT = 0.0003
FOLLOWS = (-0.003, 0.003)
# Rays start this far over the surface.
START = 0.012
RINGS, SPOKES = 4, 24
# From the side a flat dot shows its edge here.
SPINE = ("c7", "t4", "t8", "t12", "l3")
# A dot of which less is seen, or that is turned farther from the camera (cosine), is no mark.
SEEN = 0.3
FACING = 0.3


def vertices_of(place, placed):
    """The skin vertices that a sticker lies on; over a bone that moves under the skin, where a finger feels it."""
    if place in LANDMARKS["stickers"]:
        return LANDMARKS["stickers"][place]
    if place in LANDMARKS["carried_by_bone"]:
        off = np.linalg.norm(placed.posed.vertices - placed.posed.points[place], axis=1)
        return np.argsort(off)[:3]
    return LANDMARKS["skin"][place]


def tree_of(*pieces):
    """What rays hit."""
    starts = np.cumsum([0] + [len(p.vertices) for p in pieces])
    vertices = np.concatenate([p.vertices for p in pieces])
    faces = [face for p, start in zip(pieces, starts) for face in (np.asarray(p.faces) + start).tolist()]
    return BVHTree.FromPolygons(vertices.tolist(), faces)


@dataclass
class Dot:
    centre: np.ndarray
    # Of the surface under it, and of each of the piece's points.
    normal: np.ndarray
    normals: np.ndarray
    piece: Piece
    raised_mm: float = 0.0


class Surface:
    """A placed body's skin and clothes, on which dots are laid."""

    def __init__(self, placed, pieces):
        self.vertices = placed.in_world(placed.posed.vertices)
        self.normals = vertex_normals(self.vertices, mesh().faces)
        self.pieces = {p.name: p for p in pieces}
        self.trees = {}
        posed = placed.posed.vertices
        # From the outermost garment inward.
        self.layers = list(layers(posed, vertex_normals(posed, mesh().faces), placed.look))[::-1]

    def place(self, vertices):
        """The middle of these skin vertices on what lies over them, its normal, and the name of what does."""
        normal = unit(self.normals[vertices].mean(axis=0))
        on, height = next(((n, h[vertices].mean()) for n, f, h in self.layers if f[vertices].mean() > 0), ("skin", 0.0))
        if on not in self.trees:
            self.trees[on] = tree_of(self.pieces[on])
        return self.vertices[vertices].mean(axis=0) + height * normal, normal, on

    def ball(self, vertices, diameter_mm, colour, name):
        """A ball that touches the surface over the middle of these skin vertices."""
        middle, normal, on = self.place(vertices)
        hit, *_ = self.trees[on].ray_cast(mathutils.Vector(middle + START * normal), mathutils.Vector(-normal), 2.5 * START)
        touched = middle if hit is None else np.array(hit)
        points, faces = ball(rings=16)
        centre = touched + diameter_mm / 2000 * normal
        piece = Piece(name, centre + diameter_mm / 2000 * points, faces, "matte", colour=colour)
        return Dot(centre, normal, points, piece, diameter_mm / 2)

    def dot(self, vertices, diameter_mm, colour, name):
        """A dot whose middle lies on the middle of these skin vertices."""
        middle, normal, on = self.place(vertices)
        across = unit(np.cross(normal, (0.3, 0.5, 0.8)))
        frame = np.stack([across, np.cross(normal, across), normal])

        def lifted(flat):
            """How far over the disc's plane the surface lies at a place of the disc."""
            start = middle + flat @ frame[:2] + START * normal
            hit, *_ = self.trees[on].ray_cast(mathutils.Vector(start), mathutils.Vector(-normal), 2.5 * START)
            return None if hit is None else float((np.array(hit) - middle) @ normal)

        spokes = np.linspace(0, 2 * np.pi, SPOKES, endpoint=False)
        rim = np.stack([np.cos(spokes), np.sin(spokes)], axis=1)
        rings = diameter_mm / 2000 * np.linspace(0, 1, RINGS + 1)[1:]
        flat = np.concatenate([[[0.0, 0.0]], *(radius * rim for radius in rings)])
        base = lifted(flat[0]) or 0.0
        over = [lifted(place) for place in flat]
        over = np.array([base if o is None else np.clip(o, base + FOLLOWS[0], base + FOLLOWS[1]) for o in over])
        points = middle + flat @ frame[:2] + (over + LIFT)[:, None] * normal
        faces = [(0, 1 + k, 1 + (k + 1) % SPOKES) for k in range(SPOKES)]
        for ring in range(RINGS - 1):
            inner, outer = 1 + ring * SPOKES, 1 + (ring + 1) * SPOKES
            for k in range(SPOKES):
                after = (k + 1) % SPOKES
                faces += [(inner + k, outer + k, outer + after), (inner + k, outer + after, inner + after)]
        piece = Piece(name, points, np.array(faces), "matte", colour=colour)
        return Dot(points[0], normal, np.tile(normal, (len(points), 1)), piece)


def worn(surface, stickers, placed):
    """The dots that a person wears, by landmark."""
    names = [n for p in stickers["worn"] for n in ([p] if p in SPINE else [f"{p}_{side}" for side in SIDES])]
    laid = lambda name: surface.ball if name in SPINE else surface.dot
    return {
        name: laid(name)(vertices_of(name, placed), stickers["diameter_mm"], stickers["colour"], f"sticker {name}")
        for name in names
    }


def seen_share(dot, eye, hiding):
    """The share of a dot's points on the side of a camera at `eye` that it sees past what may hide them."""
    facing, seen = 0, 0
    for point, normal in zip(dot.piece.vertices, dot.normals):
        way = eye - point
        if normal @ way <= 0:
            continue
        facing += 1
        # From just over the dot, whose own surface hides nothing.
        start = point + 0.001 * unit(way)
        hit, *_ = hiding.ray_cast(mathutils.Vector(start), mathutils.Vector(unit(way)), float(np.linalg.norm(way)))
        seen += hit is None
    return seen / max(facing, 1)


def truth_of(dots, placed, hiding, diameter_mm, camera, size):
    """Where the seen dots' middles are, in the picture and in the body frame."""
    eye = np.array([0, -camera["distance_m"], camera["height_m"]])
    found = {}
    for name, dot in dots.items():
        share = seen_share(dot, eye, hiding)
        facing = 1.0 if dot.raised_mm else float(dot.normal @ unit(eye - dot.centre))
        pixel = project(dot.centre, camera, *size)
        if share >= SEEN and facing >= FACING and (pixel >= 0).all() and (pixel <= size).all():
            found[name] = {
                "pixel": [round(float(v), 3) for v in pixel],
                "diameter_mm": diameter_mm,
                "raised_mm": dot.raised_mm,
                "at": [round(float(v), 2) for v in placed.body_mm(dot.centre)],
                "seen": round(share, 2),
                "facing": round(facing, 2),
            }
    return found


def earrings(surface, colour):
    for side, sign in SIDES.items():
        ear = np.flatnonzero((mask("ears") > 0.5) & (sign * mesh().reference[:, 0] > 0))
        lobe = ear[np.argmin(mesh().reference[ear, 2])]
        points, faces = ball(rings=8)
        hung = surface.vertices[lobe] + 0.002 * surface.normals[lobe] - (0, 0, 0.006)
        yield Piece(f"earring {side}", hung + 0.006 * points, faces, "matte", colour=colour)


def buttons(surface, colour):
    x, y, z = mesh().reference.T
    field = next(f for name, f, _ in surface.layers if name == "top")
    front = np.flatnonzero((np.abs(x) < 0.004) & (y < 0) & (field > 0.012))
    low, high = z[front].min(), z[front].max()
    for number, level in enumerate(np.linspace(low + 0.02, high - 0.02, 7)):
        at = front[np.argmin(np.abs(z[front] - level))]
        yield surface.dot([at], 12, colour, f"button {number}").piece


def spots(surface, colour, rng):
    """Round spots printed on the top, none near another."""
    field = next(f for name, f, _ in surface.layers if name == "top")
    left, number = np.flatnonzero(field > 0.015), 0
    while len(left):
        at = rng.choice(left)
        yield surface.dot([at], 17, colour, f"spot {number}").piece
        left, number = left[np.linalg.norm(surface.vertices[left] - surface.vertices[at], axis=1) > 0.09], number + 1


def poster(wall_at, colour, rng):
    """A sheet with coloured circles on the wall, beside where people stand."""
    x, z, wide, tall = rng.choice([-1.0, 0.55]), 1.2, 0.5, 0.65
    y = wall_at - 0.05
    quad = np.array([(x, y, z), (x + wide, y, z), (x + wide, y, z + tall), (x, y, z + tall)])
    yield Piece("poster", quad, [(0, 1, 2, 3)], "matte", colour=(0.7, 0.7, 0.66))
    angles = np.linspace(0, 2 * np.pi, 32, endpoint=False)
    circle = np.stack([np.cos(angles), 0 * angles, np.sin(angles)], axis=1)
    for number, (column, row) in enumerate(np.ndindex(4, 5)):
        middle = (x + 0.08 + 0.113 * column, y - 0.002, z + 0.08 + 0.1225 * row)
        radius = rng.uniform(0.008, 0.02)
        yield Piece(f"circle {number}", middle + radius * circle, [tuple(range(32))], "matte", colour=colour)


def decoys(surface, wanted, wall_at, rng):
    """Coloured things that are no stickers, as the scenario states them: kind and colour."""
    kinds = {
        # It is on the skin already, see clothes.py.
        "rouge": lambda colour: [],
        "earrings": lambda colour: earrings(surface, colour),
        "buttons": lambda colour: buttons(surface, colour),
        "spots": lambda colour: spots(surface, colour, rng),
        "poster": lambda colour: poster(wall_at, colour, rng),
    }
    return [piece for kind, colour in wanted.items() for piece in kinds[kind](colour)]
