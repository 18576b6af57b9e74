"""Meshes that a person may wear on the head: hair, balls, the peak of a cap, and shells of the skin."""

import numpy as np


def ear_field(rig):
    """1 on the outer ears, falling to 0 around them."""
    return np.clip(rig.smooth(np.clip(2 * rig.painted("ears"), 0, 1), 2), 0, 1) * (
        rig.weight_of("head") > 0.5
    )


def hair_height(rig, covers_ears):
    """How far above the hairline the skin of the head lies, in metres; negative on face and neck."""
    x, y, z = rig.reference.T
    _, ear_y, ear_z = rig.landmark("tragus_left")
    crown = z[rig.weight_of("head") > 0.9].max()
    hinge = rig.head_of("head")[2]
    line = np.interp(
        y,
        [-0.16, -0.105, -0.08, ear_y - 0.014, ear_y + 0.018, ear_y + 0.05, 0.06],
        [
            crown - 0.055,
            crown - 0.06,
            ear_z + 0.055,
            ear_z + 0.016,
            ear_z - 0.002,
            hinge - 0.033,
            hinge - 0.058,
        ],
    )
    if covers_ears:
        # Down in front of the ear, and below its lobe to the nape.
        lower = np.interp(
            y, [ear_y - 0.045, ear_y - 0.02, ear_y + 0.02], [crown, ear_z - 0.03, ear_z - 0.045]
        )
        line = np.minimum(line, lower)
    return np.where(rig.weight_of("head", "neck02", "neck03") > 0.3, z - line, -0.06)


def cut(faces, field):
    """The part of the skin where `field` is positive: (first, second, share, faces).

    A new vertex lies at `share` of the way from skin vertex `first` to `second`.
    """
    number, corners, triangles = {}, [], []

    def corner(a, b):
        key = (min(a, b), max(a, b))
        if key not in number:
            number[key] = len(corners)
            low, high = key
            corners.append((low, high, 0.0 if low == high else field[low] / (field[low] - field[high])))
        return number[key]

    inside = field > 0
    for face in faces[inside[faces].any(axis=1)]:
        outline = []
        for a, b in zip(face, np.roll(face, -1)):
            if inside[a]:
                outline.append(corner(a, a))
            if inside[a] != inside[b]:
                outline.append(corner(a, b))
        triangles += [(outline[0], outline[k], outline[k + 1]) for k in range(1, len(outline) - 1)]
    first, second, share = (np.array(column) for column in zip(*corners))
    return first, second, share, np.array(triangles)


def shell_fields(rig):
    """Where each piece of headwear covers the skin: metres, positive inside."""
    x, y, z = rig.reference.T
    open_scalp = np.where(ear_field(rig) > 0.35, -0.02, hair_height(rig, covers_ears=False))
    covered = hair_height(rig, covers_ears=True)
    head = 0.1 * (rig.weight_of("head", "neck02", "neck03") - 0.5)
    chin = rig.landmark("chin")
    crown = z[rig.weight_of("head") > 0.9].max()
    # The face looks out of an oval.
    middle = (crown - 0.05 + chin[2] - 0.012) / 2
    half_height = (crown - 0.05 - chin[2] + 0.012) / 2
    oval = np.sqrt((x / 0.062) ** 2 + ((z - middle) / half_height) ** 2) - 1
    face = np.where(y < -0.055, 0.06 * oval, 0.06)
    neck = rig.head_of("neck01")[2]
    ring = z - (crown - 0.075 + 0.12 * (y + 0.05))
    return {
        "bandana": np.minimum(open_scalp, head),
        "headscarf": np.minimum(covered, head),
        "neck_scarf": np.minimum.reduce(
            [face, z - neck - 0.02, 0.1 * (rig.weight_of("head", "neck") - 0.35)]
        ),
        "cap": np.minimum(ring, head),
    }


def ball(subdivisions=3):
    """A unit sphere from an octahedron: (vertices, faces)."""
    points = [
        np.array(p, float) for p in ((1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0), (0, 0, 1), (0, 0, -1))
    ]
    faces = [(0, 2, 4), (2, 1, 4), (1, 3, 4), (3, 0, 4), (2, 0, 5), (1, 2, 5), (3, 1, 5), (0, 3, 5)]
    between = {}

    def halfway(a, b):
        key = (min(a, b), max(a, b))
        if key not in between:
            middle = points[a] + points[b]
            between[key] = len(points)
            points.append(middle / np.linalg.norm(middle))
        return between[key]

    for _ in range(subdivisions):
        finer = []
        for a, b, c in faces:
            ab, bc, ca = halfway(a, b), halfway(b, c), halfway(c, a)
            finer += [(a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca)]
        faces = finer
    return np.array(points), np.array(faces)


def hanging_hair(rig):
    """The package's own hair, brought to the reference head: (vertices, faces)."""
    points, quads, group = [], [], None
    for line in (rig.data / "3dobjs" / "base.obj").read_text().splitlines():
        kind, *rest = line.split() or [""]
        if kind == "v":
            points.append([float(value) for value in rest[:3]])
        elif kind == "g":
            group = rest[0]
        elif kind == "f" and group == "helper-hair":
            quads.append([int(corner.split("/")[0]) - 1 for corner in rest])
    points, quads = np.array(points), np.array(quads)
    skull = rig.weight_of("head") > 0.9
    base = points[rig.model.base_mesh_vertex_indices.numpy()][skull]
    to_reference, *_ = np.linalg.lstsq(np.c_[base, np.ones(len(base))], rig.reference[skull], rcond=None)
    used, quads = np.unique(quads, return_inverse=True)
    quads = quads.reshape(-1, 4)
    faces = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
    return np.c_[points[used], np.ones(len(used))] @ to_reference, faces


def visor(rig, columns=17, rows=7):
    """The peak of a cap in front of the forehead: (vertices, faces)."""
    crown = rig.reference[rig.weight_of("head") > 0.9, 2].max()
    around = np.linspace(-1.15, 1.15, columns)
    out = np.linspace(0, 1, rows)[:, None]
    reach = 0.075 * np.clip(np.cos(around * 1.2), 0, 1) ** 0.5
    x = (0.074 + 0.2 * reach * out) * np.sin(around)
    y = -0.055 - (0.098 + 0 * out) * np.cos(around) - reach * out
    z = crown - 0.087 - 0.022 * out + 0.012 * np.cos(around)
    grid = np.arange(rows * columns).reshape(rows, columns)
    a, b, c, d = (part.ravel() for part in (grid[:-1, :-1], grid[:-1, 1:], grid[1:, :-1], grid[1:, 1:]))
    faces = np.concatenate([np.c_[a, c, b], np.c_[b, c, d]])
    return np.stack([x + 0 * out, y, z], axis=2).reshape(-1, 3), faces


def arrays(rig):
    """All of them as arrays for the exported file."""
    stored, names = {}, []
    points, faces = hanging_hair(rig)
    sphere, sphere_faces = ball()
    # A ball's template is the unit ball itself: whoever wears it sets size and place.
    for name, (template, triangles) in {
        "hair": (points, faces),
        "bun": (sphere, sphere_faces),
        "knot": (sphere, sphere_faces),
        "visor": visor(rig),
    }.items():
        names.append(name)
        stored |= {
            f"{name}_template": template.astype(np.float32),
            f"{name}_faces": triangles.astype(np.int32),
        }
    for name, field in shell_fields(rig).items():
        first, second, share, triangles = cut(rig.faces, field)
        template = (1 - share[:, None]) * rig.reference[first] + share[:, None] * rig.reference[second]
        names.append(name)
        stored |= {
            f"{name}_template": template.astype(np.float32),
            f"{name}_faces": triangles.astype(np.int32),
            f"{name}_first": first,
            f"{name}_second": second,
            f"{name}_share": share.astype(np.float32),
        }
    return stored | {"extra_names": np.array(names)}
