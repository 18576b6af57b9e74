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


def hanging(wobble):
    return Arm("frontal", 7 + wobble(1), 3 + wobble(1), 14 + wobble(2), -40, 16)


def arms_of(photo, visit, rng):
    """How the arms hang or reach in one photo; an arm without an angle hangs."""
    wobble = lambda spread: float(rng.normal(0, spread))
    if photo["task"] == "stand":
        return {s: hanging(wobble) for s in ("left", "right")}
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
        if angles[s] is not None
        else hanging(wobble)
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


class Placed:
    """A posed body in the room, seen in the photo's view."""

    def __init__(self, person, posed, photo, turn_deg, at_m=(0, 0)):
        self.look = person["look"]
        self.posed = posed
        forward, left = scene.body_axes(photo["view"], photo["side"], turn_deg)
        self.axes = np.stack([left, -forward, [0, 0, 1]])
        self.at = np.array([*at_m, 0])

    def in_world(self, vertices):
        """From the body's axes to the world's."""
        return vertices @ self.axes + self.at

    def pieces(self, seed):
        return [
            replace(p, vertices=self.in_world(p.vertices)) for p in dressed(self.posed.vertices, self.look, seed)
        ]

    def landmarks(self, camera, size):
        """Pixels of the landmarks that lie inside the picture."""
        names = list(self.posed.points)
        pixels = scene.project(self.in_world(np.array([self.posed.points[n] for n in names])), camera, *size)
        return {
            n: {"x": round(float(x), 3), "y": round(float(y), 3)}
            for n, (x, y) in zip(names, pixels)
            if 0 <= x <= size[0] and 0 <= y <= size[1]
        }

    def check_framing(self, file, camera, size):
        """Every point of the body lies inside the picture, with a margin."""
        pixels = scene.project(self.in_world(self.posed.vertices), camera, *size)
        margin = 0.025 * size[1]
        if (pixels < margin).any() or (pixels > np.array(size) - margin).any():
            raise ValueError(f"{file}: the body leaves the picture: {pixels.min(0)} {pixels.max(0)}")


def photo_truth(photo, visit, placed, camera, size):
    """What is true of one photo; `placed` is whom it shows, its subject first."""
    of_camera = ("focal_px", "height_m", "pitch_deg", "roll_deg")
    # Where nobody stands there is no distance and no turn.
    with_subject = ("focal_px", "distance_m", "height_m", "pitch_deg", "roll_deg", "turn_deg")
    kept = with_subject if placed else of_camera
    points = {n: body_frame_mm(p) for n, p in placed[0].posed.points.items()} if placed else {}
    found = {
        "view": photo["view"],
        "task": photo["task"],
        "side": photo["side"],
        "width": size[0],
        "height": size[1],
        "camera": {k: round(float(camera[k]), 5) for k in kept},
        "landmarks": placed[0].landmarks(camera, size) if placed else {},
        "body": {n: [round(float(v), 2) for v in p] for n, p in points.items()},
        "measures": truth.measures(points, photo["view"], photo["task"], photo["side"], visit["operated_side"]),
    }
    if len(placed) > 1:
        found["bystander"] = {"landmarks": placed[1].landmarks(camera, size)}
    return found


def write_json(path, value):
    path.write_text(json.dumps(value, indent=1) + "\n")


class Cast:
    """The scenario's people and their bodies, each built once."""

    def __init__(self, people):
        self.people = {p["code"]: p for p in people}
        self.bodies = {}

    def body(self, code):
        if code not in self.bodies:
            person = self.people[code]
            self.bodies[code] = Body(person["body"], person.get("changes", {}), person["stature_cm"])
        return self.bodies[code]

    def placed(self, code, visit, photo, rng, turn_deg, at_m=(0, 0)):
        posed = self.body(code).pose(posture_of(photo, visit, rng), arms_of(photo, visit, rng))
        return Placed(self.people[code], posed, photo, turn_deg, at_m)

    def in_photo(self, code, visit, photo, camera, rng):
        """Whom the photo shows, its subject first; a photo without a view shows nobody."""
        if not photo["view"]:
            return []
        shown = [self.placed(code, visit, photo, rng, camera["turn_deg"])]
        if other := photo.get("bystander"):
            beside = self.people[other["code"]]["visits"][0]
            shown.append(self.placed(other["code"], beside, photo, rng, other["turn_deg"], other["at_m"]))
        return shown


def render_photo(target, photo, visit, cast, code, scenario, options, number):
    """Render one photo unless it exists; returns its truth."""
    size, seed = photo.get("size", scenario["size"]), scenario["seed"]
    # Drawn for every photo, rendered or not, so that a resumed run agrees.
    rng = generator(seed, code, visit["folder"], photo["file"])
    camera = camera_of(photo, size, rng)
    placed = cast.in_photo(code, visit, photo, camera, rng)
    if not photo.get("cropped"):
        for someone in placed:
            someone.check_framing(photo["file"], camera, size)
    found = photo_truth(photo, visit, placed, camera, size)
    if target.exists() or options.only not in str(target):
        return found
    room = scenario["room"] | cast.people[code].get("room", {}) | visit.get("room", {}) | photo.get("room", {})
    with tempfile.TemporaryDirectory() as scratch:
        picture = Path(scratch) / "picture.png"
        scene.render(
            picture, [(p.pieces(seed), p.look) for p in placed], room, camera, *size,
            samples=options.draft or scenario["samples"], seed=int(rng.integers(1 << 30)),
        )
        part = target.with_suffix(".part")
        Image.open(picture).convert("RGB").save(part, "JPEG", quality=QUALITY, exif=exif_of(visit, camera, number))
    os.replace(part, target)
    print(f"{target} {target.stat().st_size // 1024} kB", flush=True)
    return found


def render_folder(folder, visits, cast, scenario, options):
    """All photos of a folder, with visit.json and truth.json.

    `visits` are (person's code, visit). A folder that several people share is
    nobody's visit: only its label is written, and each photo has its own stature.
    """
    folder.mkdir(parents=True, exist_ok=True)
    shared = len(visits) > 1
    truths, head = {}, {"about": ABOUT}
    for code, visit in visits:
        for number, photo in enumerate(visit["photos"]):
            found = render_photo(folder / photo["file"], photo, visit, cast, code, scenario, options, number)
            if shared and photo["view"]:
                found = {"stature_mm": round(cast.body(code).stature_mm(), 1)} | found
            truths[photo["file"]] = found
    code, visit = visits[0]
    note = {"label": visit["label"]}
    if not shared:
        note |= {
            "date": visit["date"],
            "case": code,
            "stature_cm": cast.people[code]["stature_cm"],
            "operated_side": visit["operated_side"],
        }
        head["stature_mm"] = round(cast.body(code).stature_mm(), 1)
    write_json(folder / "visit.json", note)
    write_json(folder / "truth.json", head | {"photos": truths})


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("scenario", type=Path, help="what to render, e.g. demo.json")
    parser.add_argument("out", type=Path, help="folder for the visits; photos that exist are kept")
    parser.add_argument("--only", default="", help="render only photos whose path contains this")
    parser.add_argument("--draft", type=int, default=0, metavar="N", help="N samples, for a quick look")
    options = parser.parse_args()
    scenario = json.loads(options.scenario.read_text())
    cast = Cast(scenario["people"])
    folders = {}
    for person in scenario["people"]:
        for visit in person["visits"]:
            folders.setdefault(options.out / visit["folder"], []).append((person["code"], visit))
    for folder, visits in folders.items():
        if any(options.only in str(folder / p["file"]) for _, v in visits for p in v["photos"]):
            render_folder(folder, visits, cast, scenario, options)


if __name__ == "__main__":
    main()
