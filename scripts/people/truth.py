"""True measures from body-frame points (forward, left, up; millimetres).

Side measures live in the body's own sagittal plane, front and back measures in
its frontal plane; neither knows of the picture. Signs follow the catalogue of
measures in the project's DEVELOPERS.md.
"""

import numpy as np

OTHER = {"left": "right", "right": "left"}
# Where the line of the arm meets ear height farther from the shoulder than this
# many upper arms, it does so beyond the hand.
ARM_LENGTH = 2.0


def _degrees(y, x):
    return float(np.degrees(np.arctan2(y, x)))


def _sagittal(points):
    return {n: np.array([p[0], p[2]]) for n, p in points.items()}


def _frontal(points):
    return {n: np.array([p[1], p[2]]) for n, p in points.items()}


def _angle_at(vertex, a, b):
    u, v = a - vertex, b - vertex
    return _degrees(abs(u[0] * v[1] - u[1] * v[0]), u @ v)


def _thorax(points):
    """E and the two chord parts of the curve C7, apex, T12."""
    chord = points["t12"] - points["c7"]
    length = np.linalg.norm(chord)
    along = chord / length
    apex = points["thoracic_apex"] - points["c7"]
    # The chord runs downwards and forward is +x, so backward lies to its right.
    behind = along[1] * apex[0] - along[0] * apex[1]
    upper = apex @ along
    return float(behind), float(upper), float(length - upper)


def side_standing(points, side):
    p = _sagittal(points)
    tragus, acromion = p[f"tragus_{side}"], p[f"acromion_{side}"]
    ear, shoulder = tragus - p["c7"], acromion - p["c7"]
    trunk = p[f"shoulder_joint_{side}"] - p[f"hip_joint_{side}"]
    height, upper, lower = _thorax(p)
    yield "craniovertebral_angle", _degrees(ear[1], ear[0]), "deg"
    yield "head_forward_of_c7", ear[0] / 10, "cm"
    yield "head_forward_of_shoulder", (tragus - acromion)[0] / 10, "cm"
    yield "sagittal_shoulder_angle", _degrees(-shoulder[1], shoulder[0]), "deg"
    yield "shoulder_forward_of_c7", shoulder[0] / 10, "cm"
    yield "thoracic_angle", _degrees(height, upper) + _degrees(height, lower), "deg"
    yield "kyphosis_index", 100 * height / (upper + lower), "%"
    yield "trunk_lean", _degrees(trunk[0], trunk[1]), "deg"


def side_reaching(points, side):
    p = _sagittal(points)
    shoulder, elbow = p[f"shoulder_joint_{side}"], p[f"elbow_{side}"]
    arm = elbow - shoulder
    trunk = shoulder - p[f"hip_joint_{side}"]
    # An arm that has passed overhead reads beyond 180, not below 0.
    flexion = _degrees(arm[0], -arm[1])
    if flexion < -90:
        flexion += 360
    ear = p[f"tragus_{side}"] - shoulder
    length = np.linalg.norm(arm)
    off = (arm[0] * ear[1] - arm[1] * ear[0]) / length
    yield "shoulder_flexion", flexion, "deg"
    yield "shoulder_flexion_to_trunk", flexion + _degrees(trunk[0], trunk[1]), "deg"
    yield "elbow_extension_deficit", 180 - _angle_at(elbow, shoulder, p[f"wrist_{side}"]), "deg"
    yield "arm_to_ear", off / 10, "cm"
    yield "arm_to_ear", 100 * off / length, "%"


def frontal_standing(points):
    p = _frontal(points)
    plumb = (p["ankle_left"] + p["ankle_right"])[0] / 2
    for measure, name in (("shoulder_tilt", "acromion"), ("head_tilt", "tragus")):
        across = p[name + "_left"] - p[name + "_right"]
        yield measure, _degrees(across[1], across[0]), "deg"
    for measure, name in (("head_shift", "tragus"), ("trunk_shift", "shoulder_joint")):
        middle = (p[name + "_left"] + p[name + "_right"])[0] / 2
        yield measure, (middle - plumb) / 10, "cm"


def frontal_reaching(points, side):
    p = _frontal(points)
    outward = 1 if side == "left" else -1
    shoulder, elbow = p[f"shoulder_joint_{side}"], p[f"elbow_{side}"]
    arm = elbow - shoulder
    abduction = _degrees(outward * arm[0], -arm[1])
    if abduction < -90:
        abduction += 360
    yield "shoulder_abduction", abduction, "deg"
    yield "elbow_extension_deficit", 180 - _angle_at(elbow, shoulder, p[f"wrist_{side}"]), "deg"


def beside_ear(points, side):
    p = _frontal(points)
    outward = 1 if side == "left" else -1
    shoulder, tragus = p[f"shoulder_joint_{side}"], p[f"tragus_{side}"]
    arm = p[f"elbow_{side}"] - shoulder
    # A level arm never meets the height of the ear.
    if arm[1] == 0:
        return
    upper_arms = (tragus - shoulder)[1] / arm[1]
    if 0 <= upper_arms <= ARM_LENGTH:
        off = outward * (shoulder + upper_arms * arm - tragus)[0]
        yield "arm_to_ear_front", off / 10, "cm"
        yield "arm_to_ear_front", 100 * off / np.linalg.norm(arm), "%"


def measures(points, view, task, side, operated):
    """All measures of the catalogue that fit one photo, as rows."""
    rows = []

    def add(found, of_side):
        for measure, value, unit in found:
            rows.append({"measure": measure, "side": of_side, "value": round(float(value), 3), "unit": unit})

    if view == "side":
        add((side_standing if task == "stand" else side_reaching)(points, side), side)
    elif view in ("front", "back") and task == "stand":
        add(frontal_standing(points), "")
    elif view in ("front", "back"):
        for each in OTHER:
            add(frontal_reaching(points, each), each)
            if view == "front":
                add(beside_ear(points, each), each)
        if operated in OTHER:
            abduction = {r["side"]: r["value"] for r in rows if r["measure"] == "shoulder_abduction"}
            difference = abduction[operated] - abduction[OTHER[operated]]
            rows.append(
                {
                    "measure": "reach_asymmetry",
                    "side": operated,
                    "value": round(difference, 3),
                    "unit": "deg",
                    "of": "shoulder_abduction",
                }
            )
    return rows
