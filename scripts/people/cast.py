"""The scenario's people: how each stands and reaches in a photo, and before which camera."""

import math
import zlib
from dataclasses import replace

import numpy as np

from body import Arm, Body, Posture, body_frame_mm
from camera import body_axes, focal_px, project
from clothes import dressed


def generator(*words):
    """Random numbers that depend on these words alone."""
    return np.random.default_rng([zlib.crc32(str(w).encode()) for w in words])


def of_photo(seed, code, visit, photo):
    """The draws of one photo. Visits of the same `sway` show the same poses in photos of one name."""
    return generator(seed, code, visit.get("sway", visit["folder"]), photo["file"])


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
    # Out of the plane of the reach: outward, or forward.
    aside = visit["reach"].get("aside", {"sagittal": 9, "frontal": 5})["sagittal" if sagittal else "frontal"]
    return {
        s: Arm(
            "sagittal" if sagittal else "frontal",
            angles[s] + wobble(0.7),
            aside + wobble(1.5),
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


class Placed:
    """A posed body in the room, seen in the photo's view."""

    def __init__(self, person, posed, photo, turn_deg, at_m=(0, 0)):
        self.look = person["look"] | {"rouge": person.get("aids", {}).get("decoys", {}).get("rouge")}
        self.posed = posed
        forward, left = body_axes(photo["view"], photo["side"], turn_deg)
        self.axes = np.stack([left, -forward, [0, 0, 1]])
        self.at = np.array([*at_m, 0])

    def in_world(self, vertices):
        """From the body's axes to the world's."""
        return vertices @ self.axes + self.at

    def body_mm(self, point):
        """(forward, left, up) in millimetres of a point in the world."""
        return body_frame_mm((point - self.at) @ self.axes.T)

    def pieces(self, seed):
        return [
            replace(p, vertices=self.in_world(p.vertices)) for p in dressed(self.posed.vertices, self.look, seed)
        ]

    def landmarks(self, camera, size):
        """Pixels of the landmarks that lie inside the picture."""
        names = list(self.posed.points)
        pixels = project(self.in_world(np.array([self.posed.points[n] for n in names])), camera, *size)
        return {
            n: {"x": round(float(x), 3), "y": round(float(y), 3)}
            for n, (x, y) in zip(names, pixels)
            if 0 <= x <= size[0] and 0 <= y <= size[1]
        }

    def framed(self, camera, size):
        """Whether every point of the body lies inside the picture, with a margin."""
        pixels = project(self.in_world(self.posed.vertices), camera, *size)
        margin = 0.025 * size[1]
        return bool((pixels > margin).all() and (pixels < np.array(size) - margin).all())


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

    def posed(self, code, visit, photo, rng):
        return self.body(code).pose(posture_of(photo, visit, rng), arms_of(photo, visit, rng))

    def placed(self, code, visit, photo, rng, turn_deg, at_m=(0, 0)):
        return Placed(self.people[code], self.posed(code, visit, photo, rng), photo, turn_deg, at_m)

    def in_photo(self, code, visit, photo, camera, rng):
        """Whom the photo shows, its subject first; a photo without a view shows nobody."""
        if not photo["view"]:
            return []
        shown = [self.placed(code, visit, photo, rng, camera["turn_deg"])]
        if other := photo.get("bystander"):
            beside = self.people[other["code"]]["visits"][0]
            shown.append(self.placed(other["code"], beside, photo, rng, other["turn_deg"], other["at_m"]))
        return shown
