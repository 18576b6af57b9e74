"""Measure where landmarks lie on drawn people, as parts of stature: the figures of scale/. How
much rounder a back is than a smooth curve through four points of it: the figure of survey.rs. And
which way the skin over the spine faces: the figures of locate/sticker/.

    python proportions.py --people 200 --seed 401

Nothing is rendered. Each person stands and reaches, in the sagittal and in the frontal plane, as
`sample.py` has them pose.
"""

import argparse

import numpy as np

from body import LANDMARKS, SIDES, body_frame_mm, mesh, vertex_normals
from cast import Cast
from sample import person_of, pose_clear_of_head, rounded

POSES = [("stand", "side"), ("reach", "side"), ("stand", "front"), ("reach", "front")]
AXES = ("forward", "outward", "up")


def posed(seed, number):
    """The person's near side, and points in millimetres over stature for each pose."""
    person = rounded(person_of(seed, number), 4)
    cast = Cast([person])
    stature = cast.body(person["code"]).stature_mm()
    near = ("left", "right")[number % 2]
    poses = {}
    for task, view in POSES:
        side = near if view == "side" else ""
        photo = {"file": f"{task}-{view}", "view": view, "side": side, "task": task}
        pose = pose_clear_of_head(seed, person, photo, cast)
        poses[task, view] = {name: body_frame_mm(at) / stature for name, at in pose.points.items()}
        if (task, view) == ("stand", "side"):
            outward = facing(pose)
    return {"near": near, "stature_mm": stature, "poses": poses, "outward": outward}


SPINE = ("c7", "t4", "t8", "t12", "l3")


def facing(pose):
    """How far the skin over the spine faces upward of where the line along its neighbours does, degrees."""
    normals = vertex_normals(pose.vertices, mesh().faces)
    sagittal = lambda at: body_frame_mm(at)[[0, 2]]
    found = {}
    for number, name in enumerate(SPINE):
        own = normals[LANDMARKS["skin"][name]].mean(axis=0)
        own = sagittal(own) - sagittal(np.zeros(3))
        ends = [sagittal(pose.points[SPINE[k]]) for k in (max(number - 1, 0), min(number + 1, len(SPINE) - 1))]
        along = ends[0] - ends[1]
        # Backward and upward of the vertical: 0 behind, 90 straight up.
        angle = lambda v: np.degrees(np.arctan2(v[1], -v[0]))
        found[name] = angle(own) - angle(np.array([-along[1], along[0]]))
    return found


def sides_of(pose, near):
    """Landmark without its side, and its point with outward positive: the near side, or both."""
    for name, (forward, left, up) in pose.items():
        stem, _, side = name.rpartition("_")
        if side in SIDES:
            if near in (side, None):
                yield stem, np.array([forward, SIDES[side] * left, up])
        else:
            yield name, np.array([forward, left, up])


def rounder(pose):
    """By which part the back's apex lies farther behind the chord C7-T12 than that of the cubic
    through C7, T4, T8 and T12."""
    c7, t4, t8, t12, apex = (pose[name][[0, 2]] for name in ("c7", "t4", "t8", "t12", "thoracic_apex"))
    chord = t12 - c7
    length = np.linalg.norm(chord)
    behind = np.array([-chord[1], chord[0]]) / length

    def on_curve(at):
        return (at - c7) @ chord / length**2, (at - c7) @ behind

    # A cubic that is zero at both ends: what is left of a height once these are divided out is a line.
    (down4, height4), (down8, height8) = on_curve(t4), on_curve(t8)
    line = [height / (down * (1 - down)) for down, height in ((down4, height4), (down8, height8))]
    slope = (line[1] - line[0]) / (down8 - down4)
    down = np.linspace(0, 1, 1001)
    cubic = down * (1 - down) * (line[0] + slope * (down - down4))
    return on_curve(apex)[1] / cubic[np.abs(cubic).argmax()] - 1


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--people", type=int, default=200, metavar="N", help="how many people")
    parser.add_argument("--seed", type=int, default=401, help="person k of a seed is the same whatever N is")
    options = parser.parse_args()
    people = [posed(options.seed, number) for number in range(options.people)]
    apex = np.array([rounder(person["poses"]["stand", "side"]) for person in people])
    print(f"a back's apex against the cubic's: {100 * apex.mean():+.1f} % ± {100 * apex.std():.1f} %")
    for name in SPINE:
        turned = np.array([person["outward"][name] for person in people])
        print(f"skin over {name} faces {turned.mean():+.1f} ± {turned.std():.1f}° upward of the line along its neighbours")
    print("thousandths of stature from the floor under the ankles: mean ± standard deviation")
    for task, view in POSES:
        found = {}
        for person in people:
            near = person["near"] if view == "side" else None
            for name, at in sides_of(person["poses"][task, view], near):
                found.setdefault(name, []).append(1000 * at)
        for name in sorted(found):
            at = np.array(found[name])
            columns = (f"{axis} {m:7.1f} ± {s:4.1f}" for axis, m, s in zip(AXES, at.mean(0), at.std(0)))
            print(f"{task} {view:5} {name:14}", "  ".join(columns))


if __name__ == "__main__":
    main()
