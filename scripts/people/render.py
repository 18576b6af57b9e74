"""Render a scenario of invented people: photos, visits and their truth."""

import argparse
import json
import math
import os
import tempfile
import zlib
from dataclasses import replace
from pathlib import Path

import numpy as np
import piexif
from PIL import Image

import scene
import truth
from body import Arm, Body, Posture, body_frame_mm
from clothes import dressed

FULL_FRAME_DIAGONAL_MM = 43.267
QUALITY = 88
ABOUT = (
    "Truth of rendered photos. Pixels: x right, y down, the centre of the top-left pixel is (0.5, 0.5). "
    "body: millimetres, forward (the way the pelvis faces), left (the subject's), up (the world's vertical), "
    "from the floor under the middle of the ankle joints. Camera: pinhole at height_m over the floor and "
    "distance_m from the body's origin, which lies straight ahead of it; pitch_deg + = pitched up; roll_deg + = "
    "turned clockwise as seen from behind the camera, so that the scene appears turned anticlockwise in the "
    "picture; turn_deg: the body axis that points to the right of the picture (side view: forward when she "
    "faces right, else backward; front: her left; back: her right) lies along (cos turn, sin turn) in "
    "(right, away from the camera), and the one that faces the camera along (sin turn, -cos turn): a positive turn takes "
    "the right-hand side of the picture away from the camera. Measures are computed from the body points in the body's own "
    "sagittal (side) or frontal (front) plane, not from the picture."
)


def generator(*words):
    return np.random.default_rng([zlib.crc32(str(w).encode()) for w in words])


def focal_px(f35, width, height):
    """35-mm-equivalent focal length in pixels, by the diagonal rule."""
    return f35 / FULL_FRAME_DIAGONAL_MM * math.hypot(width, height)


def camera_of(photo, size, rng):
    """The camera a photographer might have set up, or what the scenario states."""
    height = rng.uniform(0.95, 1.4)
    distance = rng.uniform(2.6, 3.4)
    # Pitched towards the middle of what has to be in the picture.
    aim = 1.0 if photo["task"] == "reach" else 0.85
    drawn = {
        "f35": int(rng.integers(26, 29)),
        "distance_m": distance,
        "height_m": height,
        "pitch_deg": 0.75 * math.degrees(math.atan2(aim - height, distance)) + rng.normal(0, 0.5),
        "roll_deg": rng.uniform(-1.5, 1.5),
        "turn_deg": rng.uniform(-7, 7),
    }
    camera = drawn | photo.get("camera", {})
    camera["focal_px"] = focal_px(camera["f35"], *size)
    return camera


def arms_of(photo, visit, rng):
    """How the arms hang or reach in one photo."""
    wobble = lambda spread: float(rng.normal(0, spread))
    if photo["task"] == "stand":
        return {
            s: Arm("frontal", 7 + wobble(1), 3 + wobble(1), 14 + wobble(2), -40, 16) for s in ("left", "right")
        }
    sagittal = photo["view"] == "side"
    angles = visit["reach"]["flexion" if sagittal else "abduction"]
    return {
        s: Arm(
            "sagittal" if sagittal else "frontal",
            angles[s] + wobble(0.7),
            (9 if sagittal else 5) + wobble(1.5),
            visit["reach"]["elbow"][s] + wobble(0.7),
            visit["reach"].get("pronation", 0),
        )
        for s in ("left", "right")
    }


def posture_of(photo, visit, rng):
    """The visit's posture with the sway between one photo and the next."""
    posture = Posture(**visit["posture"])
    change = {
        "trunk_lean": posture.trunk_lean + float(rng.normal(0, 0.4)),
        "craniovertebral_angle": posture.craniovertebral_angle + float(rng.normal(0, 0.5)),
    }
    if photo["task"] == "reach":
        change["trunk_lean"] += visit["reach"].get("lean_back", -2.0)
        if photo["view"] == "front":
            change["side_bend"] = posture.side_bend + visit["reach"].get("side_bend", 0.0)
    return replace(posture, **change)


def exif_of(visit, camera, number):
    when = f"{visit['date'].replace('-', ':')} 10:{12 + number:02d}:00"
    # The sensor of a usual phone main camera: 5.6 mm for a 26 mm equivalent.
    focal = round(camera["f35"] * 5.6 / 26 * 100)
    return piexif.dump(
        {
            "0th": {
                piexif.ImageIFD.Make: "tragus render",
                piexif.ImageIFD.Model: "pinhole",
                piexif.ImageIFD.Orientation: 1,
                piexif.ImageIFD.DateTime: when,
            },
            "Exif": {
                piexif.ExifIFD.DateTimeOriginal: when,
                piexif.ExifIFD.FocalLength: (focal, 100),
                piexif.ExifIFD.FocalLengthIn35mmFilm: camera["f35"],
            },
        }
    )


def photo_truth(photo, visit, posed, camera, size):
    forward, left = scene.body_axes(photo["view"], photo["side"], camera["turn_deg"])
    points = {n: body_frame_mm(p) for n, p in posed.points.items()}
    names = list(points)
    world = np.array([points[n][0] * forward + points[n][1] * left + [0, 0, points[n][2]] for n in names]) / 1000
    pixels = scene.project(world, camera, *size)
    kept = ("focal_px", "distance_m", "height_m", "pitch_deg", "roll_deg", "turn_deg")
    return {
        "view": photo["view"],
        "task": photo["task"],
        "side": photo["side"],
        "width": size[0],
        "height": size[1],
        "camera": {k: round(float(camera[k]), 5) for k in kept},
        "landmarks": {n: {"x": round(float(x), 3), "y": round(float(y), 3)} for n, (x, y) in zip(names, pixels)},
        "body": {n: [round(float(v), 2) for v in points[n]] for n in names},
        "measures": truth.measures(points, photo["view"], photo["task"], photo["side"], visit["operated_side"]),
    }


def in_world(pieces, photo, camera):
    """The pieces moved from the body's axes to the world's."""
    forward, left = scene.body_axes(photo["view"], photo["side"], camera["turn_deg"])
    axes = np.stack([left, -forward, [0, 0, 1]])
    return [replace(p, vertices=p.vertices @ axes) for p in pieces]


def check_framing(vertices, photo, camera, size):
    """Every point of the body lies inside the picture, with a margin."""
    forward, left = scene.body_axes(photo["view"], photo["side"], camera["turn_deg"])
    pixels = scene.project(vertices @ np.stack([left, -forward, [0, 0, 1]]), camera, *size)
    margin = 0.025 * size[1]
    if (pixels < margin).any() or (pixels > np.array(size) - margin).any():
        raise ValueError(f"{photo['file']}: the body leaves the picture: {pixels.min(0)} {pixels.max(0)}")


def write_json(path, value):
    path.write_text(json.dumps(value, indent=1) + "\n")


def render_visit(person, body, visit, scenario, out, only, draft):
    size, seed = scenario["size"], scenario["seed"]
    folder = out / visit["folder"]
    folder.mkdir(parents=True, exist_ok=True)
    truths = {}
    for number, photo in enumerate(visit["photos"]):
        # Drawn for every photo, rendered or not, so that a resumed run agrees.
        rng = generator(seed, person["code"], visit["folder"], photo["file"])
        camera = camera_of(photo, size, rng)
        posed = body.pose(posture_of(photo, visit, rng), arms_of(photo, visit, rng))
        check_framing(posed.vertices, photo, camera, size)
        truths[photo["file"]] = photo_truth(photo, visit, posed, camera, size)
        target = folder / photo["file"]
        if target.exists() or (only and only not in str(target)):
            continue
        pieces = in_world(dressed(posed.vertices, person["look"], seed), photo, camera)
        room = scenario["room"] | person.get("room", {}) | visit.get("room", {})
        with tempfile.TemporaryDirectory() as scratch:
            picture = Path(scratch) / "picture.png"
            scene.render(
                picture, pieces, person["look"], room, camera, *size,
                samples=draft or scenario["samples"], seed=int(rng.integers(1 << 30)),
            )
            part = target.with_suffix(".part")
            Image.open(picture).convert("RGB").save(
                part, "JPEG", quality=QUALITY, exif=exif_of(visit, camera, number)
            )
        os.replace(part, target)
        print(f"{target} {target.stat().st_size // 1024} kB", flush=True)
    write_json(
        folder / "visit.json",
        {
            "label": visit["label"],
            "date": visit["date"],
            "case": person["code"],
            "stature_cm": person["stature_cm"],
            "operated_side": visit["operated_side"],
        },
    )
    write_json(
        folder / "truth.json",
        {"about": ABOUT, "stature_mm": round(body.stature_mm(), 1), "photos": truths},
    )


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("scenario", type=Path, help="what to render, e.g. demo.json")
    parser.add_argument("out", type=Path, help="folder for the visits; photos that exist are kept")
    parser.add_argument("--only", default="", help="render only photos whose path contains this")
    parser.add_argument("--draft", type=int, default=0, metavar="N", help="N samples, for a quick look")
    options = parser.parse_args()
    scenario = json.loads(options.scenario.read_text())
    for person in scenario["people"]:
        if options.only and not any(
            options.only in str(options.out / v["folder"] / p["file"]) for v in person["visits"] for p in v["photos"]
        ):
            continue
        body = Body(person["body"], person.get("changes", {}), person["stature_cm"])
        for visit in person["visits"]:
            render_visit(person, body, visit, scenario, options.out, options.only, options.draft)


if __name__ == "__main__":
    main()
