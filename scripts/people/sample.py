"""Draw a truth set: a scenario of invented people, each photographed by two cameras.

    python sample.py --people 10 --seed 2 OUT.json
    python render.py OUT.json FOLDER
"""

import argparse
import colorsys
import json
import math
from pathlib import Path

import numpy as np

import board
from body import SIDES, mesh
from camera import focal_px
from cast import Cast, Placed, generator, of_photo
from clothes import OVER_EARS
from files import write_text
from truth import OTHER

CAMERAS = ("camera-a", "camera-b")
SIZE = (600, 800)
# Dots and board need more pixels; of the same shape, so that everything stands where it stood.
AIDS_SIZE, AIDS_SAMPLES = (1500, 2000), 3
SAMPLES = 6
# An arm's skin lies this far from its bones; hair and scarf need some room too.
ARM_CLEARANCE_M = 0.065
ROOM = {
    "wall": [0.62, 0.68, 0.66],
    "door": [0.55, 0.4, 0.26],
    "floor": [0.5, 0.36, 0.24],
    "couch": [0.3, 0.36, 0.42],
    "door_at": -1.75,
    "couch_at": 0.55,
    "key": 60,
    "light": [1.0, 0.96, 0.9],
    "exposure": 0.6,
}
# Cloth of skin's own hue would look bare.
CLOTH_HUES = (0.13, 0.98)
# Hues of stickers, degrees. Orange is the hue of skin.
STICKERS = {"red": 354, "yellow": 56, "green": 130, "blue": 222, "magenta": 312}
# Nearer to a hue of skin or clothes than this a sticker would not stand out.
HUES_APART = 25
PLACES = ("tragus", "c7", "t4", "t8", "t12", "l3", "acromion", "trochanter", "elbow", "wrist", "ankle")
DECOYS = ("earrings", "buttons", "spots", "poster", "rouge")
# What is spread evenly over the people rather than left to chance.
EVEN = ("craniovertebral_angle", "thoracic_flexion", "flexion", "abduction", "elbow", "protraction", "years", "tone")


def even(seed, number):
    """Numbers in [0, 1) per name of EVEN that fill their cube evenly, however many people follow.

    The additive recurrence of the generalised golden ratio (Roberts's sequence), shifted by the seed.
    """
    ratio = 1.5
    for _ in range(60):
        ratio = (1 + ratio) ** (1 / (len(EVEN) + 1))
    start = generator(seed, "start").random(len(EVEN))
    steps = ratio ** -np.arange(1.0, len(EVEN) + 1)
    return dict(zip(EVEN, (start + number * steps) % 1))


def between(share, low, high):
    return low + share * (high - low)


def rounded(value, digits=3):
    if isinstance(value, dict):
        return {k: rounded(v, digits) for k, v in value.items()}
    if isinstance(value, (list, tuple, np.ndarray)):
        return [rounded(v, digits) for v in value]
    return round(float(value), digits) if isinstance(value, float) else value


def choose(rng, shares):
    """One of the keys, by its share."""
    names = list(shares)
    weights = np.array([shares[n] for n in names], float)
    return names[rng.choice(len(names), p=weights / weights.sum())]


def paint(rng, saturation, value, hues=(0, 1)):
    """A colour of these hues; Blender's colours are linear."""
    colour = colorsys.hsv_to_rgb(rng.uniform(*hues), rng.uniform(*saturation), rng.uniform(*value))
    return [c**2.2 for c in colour]


def body_of(rng, drawn, woman):
    years = between(drawn["years"], 20, 86)
    tone = drawn["tone"]
    # Descent goes with the skin's tone only loosely.
    weights = np.array([max(1 - 1.4 * tone, 0.02), max(0.75 - abs(tone - 0.35), 0.02), max(1.6 * tone - 0.6, 0.02)])
    caucasian, asian, african = rng.dirichlet(8 * weights)
    body = {
        "gender": rng.uniform(0.93, 1.0) if woman else rng.uniform(0.0, 0.08),
        # anny's scale: 2/3 is 25 years, 1 is 90.
        "age": 2 / 3 + max(years - 25, 0) / 65 / 3,
        "weight": between(rng.beta(2, 2.2), 0.3, 0.92),
        "muscle": rng.uniform(0.3, 0.65) - 0.15 * (years - 20) / 66,
        "proportions": rng.uniform(0.35, 0.75),
        "caucasian": caucasian,
        "asian": asian,
        "african": african,
    }
    if woman:
        body |= {"cupsize": rng.uniform(0.25, 0.65), "firmness": rng.uniform(0.4, 0.75) - 0.4 * (years - 20) / 66}
    changes = {f"{s}-hand-fingers-distance-incr": -0.6 for s in "lr"}
    for name, spread in (
        ("neck-scale-vert-incr", 0.35),
        ("neck-scale-horiz-incr", 0.3),
        ("torso-scale-depth-incr", 0.25),
        ("torso-scale-horiz-incr", 0.2),
        ("measure-shoulder-dist-incr", 0.2),
        ("measure-upperarm-length-incr", 0.25),
        ("head-scale-depth-incr", 0.25),
        ("head-scale-horiz-incr", 0.2),
        ("head-fat-incr", 0.3),
        ("chin-width-incr", 0.4),
        ("chin-prominent-incr", 0.4),
        ("nose-scale-horiz-incr", 0.4),
        ("nose-hump-incr", 0.4),
        ("nose-point-up", 0.4),
        ("mouth-scale-horiz-incr", 0.3),
    ):
        changes[name] = float(np.clip(rng.normal(0, spread), -0.7, 0.7))
    stature = rng.normal(164, 6.5) if woman else rng.normal(177, 7)
    # Shorter with age, and within what the body model takes.
    stature = np.clip(stature - 0.07 * max(years - 40, 0), 150, 190)
    return years, body, changes, round(float(stature), 1)


def skin_of(rng, tone):
    light_to_dark = np.array(
        [
            (0.64, 0.42, 0.33),
            (0.56, 0.34, 0.245),
            (0.46, 0.27, 0.18),
            (0.32, 0.175, 0.11),
            (0.20, 0.10, 0.062),
            (0.115, 0.052, 0.032),
        ]
    )
    at = tone * (len(light_to_dark) - 1)
    skin = np.array([np.interp(at, range(len(light_to_dark)), light_to_dark[:, k]) for k in range(3)])
    return skin * rng.uniform(0.94, 1.06) * rng.uniform(0.97, 1.03, 3)


def hair_of(rng, years, woman, tone):
    if woman:
        # Some have lost their hair to treatment, or cover what has grown again.
        styles = {
            "tied": 24, "short": 18, "long": 14, "bob": 11, "long-over-ears": 10,
            "cropped": 9, "bald": 4, "headscarf": 6, "headscarf-over-ears": 4,
        }
    else:
        styles = {"short": 45, "cropped": 35, "bald": 20}
    natural = {
        "black": (0.011, 0.009, 0.009),
        "dark brown": (0.045, 0.024, 0.014),
        "brown": (0.10, 0.055, 0.03),
        "fair": (0.30, 0.18, 0.08),
        "red": (0.24, 0.085, 0.03),
    }
    shares = {"black": 1 + 9 * tone, "dark brown": 4, "brown": 5 * (1 - tone), "fair": 3 - 6 * tone, "red": 1 - 2 * tone}
    colour = np.array(natural[choose(rng, {k: max(v, 0) for k, v in shares.items()})])
    grey = np.clip((years - rng.uniform(42, 70)) / 22, 0, 1)
    hair = {"style": choose(rng, styles), "colour": colour + grey * (np.array((0.36, 0.35, 0.34)) - colour)}
    hair["brows"] = 0.5 * (hair["colour"] + colour)
    if hair["style"].startswith("headscarf"):
        hair["colour"] = paint(rng, (0.15, 0.6), (0.3, 0.85))
    return hair


def clothes_of(rng, woman):
    sleeve = choose(rng, {"none": 3 if woman else 1, "short": 5, "long": 2})
    top = {
        "sleeve": {"none": 0.0, "short": rng.uniform(0.10, 0.22), "long": rng.uniform(0.40, 0.48)}[sleeve],
        "hem": rng.uniform(0.04, 0.12),
        "neck_front": rng.uniform(0.60, 0.645),
        "neck_back": rng.uniform(0.64, 0.672),
        "ease": rng.uniform(0.004, 0.012),
        "smoothing": 6,
        "colour": paint(rng, (0.05, 0.75), (0.25, 0.9), CLOTH_HUES),
    }
    ease = rng.uniform(0.004, 0.012)
    trousers = {
        "waist": 0.2,
        "ankle": -rng.uniform(0.62, 0.71) if rng.random() < 0.85 else -rng.uniform(0.2, 0.34),
        "ease": ease,
        "smoothing": 3 if ease < 0.007 else 6,
        "colour": paint(rng, (0.05, 0.6), (0.2, 0.6), CLOTH_HUES),
    }
    return {"top": top, "trousers": trousers, "feet": choose(rng, {"bare": 65, "socks": 35})}


def look_of(rng, years, woman, tone):
    skin = skin_of(rng, tone)
    iris = choose(rng, {"brown": 2 + 8 * tone, "hazel": 2, "grey": max(3 - 6 * tone, 0)})
    return {
        "skin": skin,
        "lips": skin * (0.82, 0.56, 0.7) + (0.02, 0.005, 0.005),
        "blush": between(1 - tone, 0.15, 0.65) * rng.uniform(0.8, 1.2),
        "iris": {"brown": (0.04, 0.022, 0.014), "hazel": (0.1, 0.07, 0.035), "grey": (0.13, 0.18, 0.22)}[iris],
        "hair": hair_of(rng, years, woman, tone),
    } | clothes_of(rng, woman)


def room_of(rng):
    floor = np.array((0.5, 0.36, 0.24)) * rng.uniform(0.55, 1.15)
    grey = floor.mean()
    door_left = rng.random() < 0.5
    wall = paint(rng, (0.0, 0.13), (0.72, 0.93))
    painted = rng.random() < 0.35
    room = {
        "wall": wall,
        "door": paint(rng, (0.0, 0.1), (0.75, 0.92)) if painted else np.array((0.55, 0.4, 0.26)) * rng.uniform(0.4, 1.2),
        "floor": floor + rng.uniform(0, 0.8) * (grey - floor),
        "couch": paint(rng, (0.05, 0.4), (0.35, 0.75)),
        "door_at": rng.uniform(-2.6, -1.2) if door_left else rng.uniform(0.3, 1.6),
        "couch_at": rng.uniform(0.2, 1.4) if door_left else rng.uniform(-3.2, -2.0),
        "wall_at": rng.uniform(0.85, 1.9),
        "key": rng.uniform(44, 74),
        "fill": rng.uniform(0.35, 0.9),
        "key_from_right": bool(rng.random() < 0.5),
        "light": np.array((1.0, 0.96, 0.9)) + rng.uniform(-0.8, 0.6) * np.array((0.0, 0.04, 0.14)),
        "exposure": rng.uniform(0.4, 0.75),
        "pictures": [],
    }
    if rng.random() < 0.5:
        size = [rng.uniform(0.35, 0.75), rng.uniform(0.4, 0.8)]
        at = [rng.uniform(0.4, 1.6) if door_left else rng.uniform(-2.4, -0.8), rng.uniform(1.25, 1.5)]
        room["pictures"].append({"at": at, "size": size, "colour": paint(rng, (0.1, 0.6), (0.3, 0.8))})
    return room


def operated_of(rng, woman):
    shares = {"left": 40, "right": 40, "both": 12, "none": 8} if woman else {"left": 25, "right": 25, "none": 50}
    return choose(rng, shares)


def weaker_of(rng, operated):
    """The side that is protracted and reaches less."""
    return operated if operated in SIDES else choose(rng, dict.fromkeys(SIDES, 1))


def posture_of(rng, drawn, weaker):
    strained = between(drawn["protraction"], 2, 24)
    protraction = {weaker: strained, OTHER[weaker]: rng.uniform(0.3, 1.0) * strained}
    return {
        "craniovertebral_angle": between(drawn["craniovertebral_angle"], 28, 58),
        "thoracic_flexion": between(drawn["thoracic_flexion"], 2, 44),
        "trunk_lean": rng.uniform(-3, 8),
        "protraction_left": protraction["left"],
        "protraction_right": protraction["right"],
        "shoulder_tilt": rng.normal(0, 2.2),
        "head_tilt": rng.normal(0, 2.0),
        "side_bend": rng.normal(0, 1.5),
        "gaze": rng.uniform(-5, 5),
    }


def reach_of(rng, drawn, weaker, seen_side):
    """Both arms' angles; the side view's near arm and the weaker arm from the front fill the range."""
    highest = {"flexion": 190.0, "abduction": 178.0}
    seen = between(drawn["flexion"], 90, highest["flexion"])
    # The other arm reaches higher than a weak one, and less high than a strong one.
    limits = (seen, highest["flexion"]) if seen_side == weaker else (90.0, seen)
    weak = between(drawn["abduction"], 90, highest["abduction"])
    elbow = {seen_side: between(drawn["elbow"], 0, 35), OTHER[seen_side]: between(rng.beta(1, 2), 0, 35)}
    return {
        "flexion": {seen_side: seen, OTHER[seen_side]: rng.uniform(*limits)},
        "abduction": {weaker: weak, OTHER[weaker]: rng.uniform(weak, highest["abduction"])},
        "elbow": elbow,
        "aside": {"sagittal": 9.0, "frontal": 5.0},
        "lean_back": rng.uniform(-6, 0.5),
        "side_bend": rng.normal(0, 1.5),
    }


def photos_of(code, number):
    """The near side alternates between people; stand and reach from the front in turns of two."""
    near = ("left", "right")[number % 2]
    front = ("stand", "reach")[number // 2 % 2]
    shots = [("stand", "side", near), ("reach", "side", near), (front, "front", "")]
    if number % 6 == 3:
        shots.append(("stand", "back", ""))
    return [
        {"file": f"{code}-{task}-{side or view}.jpg", "view": view, "side": side, "task": task}
        for task, view, side in shots
    ]


def hue_of(colour):
    """Hue in degrees of a linear colour, and saturation."""
    hue, saturation, _ = colorsys.rgb_to_hsv(*(c ** (1 / 2.2) for c in colour))
    return 360 * hue, saturation


def aids_of(seed, number, person):
    """Stickers, all or some of them and always those of neck and shoulder, and for every third person coloured things that are none."""
    rng = generator(seed, person["code"], "aids")
    look = person["look"]
    near = [hue_of(c) for c in (look["skin"], look["top"]["colour"], look["trousers"]["colour"], look["hair"]["colour"])]
    apart = lambda a, b: abs((a - b + 180) % 360 - 180)
    free = [n for n, h in STICKERS.items() if all(s < 0.12 or apart(h, other) >= HUES_APART for other, s in near)]
    saturated = lambda name: [c**2.2 for c in colorsys.hsv_to_rgb(STICKERS[name] / 360, 0.98, 0.75)]
    name = rng.choice(free)
    some = [*rng.choice(PLACES, rng.integers(4, 8), replace=False), "tragus", "c7", "acromion"]
    aids = {
        "stickers": {
            "name": str(name),
            "colour": saturated(name),
            "diameter_mm": round(float(rng.uniform(10, 16)), 1),
            "worn": [p for p in PLACES if p in some or number % 4 in (0, 3)],
        },
        "decoys": {},
    }
    if number % 3 == 1:
        ears = look["hair"]["style"] not in OVER_EARS
        kinds = [k for k in np.roll(DECOYS, -2 * (number // 3)) if ears or k != "earrings"][:2]
        for kind in kinds:
            aids["decoys"][str(kind)] = saturated(name if rng.random() < 0.5 else rng.choice(list(STICKERS)))
    return aids


def kind_of(photo):
    return f"{photo['task']} {photo['view']}"


def arms_clear_of_head(posed):
    """Whether neither arm's bones run through the head or graze it."""
    head = posed.vertices[mesh().weight_of("head") > 0.5]
    for side in SIDES:
        joints = [posed.points[f"{n}_{side}"] for n in ("shoulder_joint", "elbow", "wrist")]
        for start, end in zip(joints, joints[1:]):
            bone = start + np.linspace(0, 1, 25)[:, None] * (end - start)
            if np.linalg.norm(head[:, None] - bone, axis=2).min() < ARM_CLEARANCE_M:
                return False
    return True


def camera_of(rng, placed_by, size, task):
    """A camera that has the whole body in its picture, and how many were drawn until one had."""
    for tries in range(1, 1001):
        height, distance = rng.uniform(0.8, 1.5), rng.uniform(2.0, 4.0)
        # Held towards the middle of what has to be in the picture, but not exactly.
        aim = 1.0 if task == "reach" else 0.85
        camera = {
            "f35": int(rng.integers(24, 29)),
            "distance_m": distance,
            "height_m": height,
            "pitch_deg": 0.8 * math.degrees(math.atan2(aim - height, distance)) + rng.normal(0, 1.5),
            "roll_deg": rng.uniform(-3, 3),
            "turn_deg": rng.uniform(-10, 10),
        }
        camera = rounded(camera, 4)
        placed = placed_by(camera["turn_deg"])
        if placed.framed(camera | {"focal_px": focal_px(camera["f35"], *size)}, size):
            return camera, tries
    raise ValueError("no camera has the whole body in its picture")


def person_of(seed, number):
    """Everything about one person but the cameras; the same whoever else is drawn."""
    code = f"p{number + 1:02d}"
    # Every other pair of people is seen reaching from the front: spread over those alone.
    drawn = even(seed, number) | {"abduction": even(seed, number // 4 * 2 + number % 2)["abduction"]}
    rng = generator(seed, code, "person")
    # Two men in eleven, at places that a run of any length spreads out.
    woman = number % 11 not in (4, 9)
    years, body, changes, stature = body_of(rng, drawn, woman)
    operated = operated_of(rng, woman)
    weaker = weaker_of(rng, operated)
    shots = photos_of(code, number)
    return {
        "code": code,
        "stature_cm": stature,
        "body": body,
        "changes": changes,
        "look": look_of(rng, years, woman, drawn["tone"]),
        "room": room_of(rng),
        "visits": [
            {
                "folder": "",
                "sway": "pose",
                "label": "",
                "date": "2026-05-04",
                "operated_side": operated,
                "posture": posture_of(rng, drawn, weaker),
                "reach": reach_of(rng, drawn, weaker, shots[0]["side"]),
                "photos": shots,
            }
        ],
    }


def pose_clear_of_head(seed, person, photo, cast):
    """The posed body; a raised arm is held further aside until it is clear of the head."""
    code, visit = person["code"], person["visits"][0]
    plane = "sagittal" if photo["view"] == "side" else "frontal"
    while True:
        posed = cast.posed(code, visit, photo, of_photo(seed, code, visit, photo))
        if arms_clear_of_head(posed):
            return posed
        visit["reach"]["aside"][plane] += 2.0


def photographed(seed, person, cast):
    """The person's visits, one per camera: the same poses seen from another place; and the cameras drawn in vain."""
    visit = person["visits"][0]
    seen, vain = {name: [] for name in CAMERAS}, {}
    for photo in visit["photos"]:
        posed = pose_clear_of_head(seed, person, photo, cast)
        placed_by = lambda turn_deg: Placed(person, posed, photo, turn_deg)
        for name in CAMERAS:
            rng = generator(seed, person["code"], name, photo["file"])
            camera, tries = camera_of(rng, placed_by, SIZE, photo["task"])
            taken = photo | {"camera": camera}
            if "aids" in person:
                rng = generator(seed, person["code"], name, photo["file"], "board")
                with_focal = camera | {"focal_px": focal_px(camera["f35"], *SIZE)}
                taken["board"] = rounded(board.hang(placed_by(camera["turn_deg"]), with_focal, SIZE, rng), 2)
            seen[name].append(taken)
            vain[kind_of(photo)] = vain.get(kind_of(photo), 0) + tries - 1
    return [visit | {"folder": name, "label": name, "photos": seen[name]} for name in CAMERAS], vain


def draw(people, seed, with_aids):
    vain, cast = {}, []
    for number in range(people):
        person = rounded(person_of(seed, number), 4)
        if with_aids:
            person["aids"] = rounded(aids_of(seed, number, person), 4)
            # Half of them stand where nothing but the board hangs plumb. Dots on loose cloth mark no bone.
            person["room"]["bare"] = number % 2 == 1
            person["look"]["top"] |= {"ease": 0.002, "smoothing": 1}
        person["visits"], more = photographed(seed, person, Cast([person]))
        vain = {kind: vain.get(kind, 0) + more.get(kind, 0) for kind in vain | more}
        cast.append(person)
    return cast, vain


def compact(value, width=120, indent=0):
    """JSON that breaks only what is wider than a line."""
    line = json.dumps(value)
    if len(line) + indent <= width or not isinstance(value, (dict, list)):
        return line
    pad = " " * (indent + 1)
    if isinstance(value, dict):
        parts, (first, last) = [f"{json.dumps(k)}: {compact(v, width, indent + 1)}" for k, v in value.items()], "{}"
    else:
        parts, (first, last) = [compact(v, width, indent + 1) for v in value], "[]"
    return first + "\n" + ",\n".join(pad + part for part in parts) + "\n" + " " * indent + last


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("out", type=Path, help="the scenario to write")
    parser.add_argument("--people", type=int, required=True, metavar="N", help="how many people")
    parser.add_argument("--seed", type=int, required=True, help="person k of a seed is the same whatever N is")
    parser.add_argument("--aids", action="store_true", help="with a scale board and stickers")
    options = parser.parse_args()
    people, vain = draw(options.people, options.seed, options.aids)
    scenario = {
        "about": f"Truth set of {len(people)} invented people, drawn by sample.py with seed {options.seed}. "
        "Fields as in demo.json; visits of the same sway show the same poses.",
        "size": AIDS_SIZE if options.aids else SIZE,
        "samples": AIDS_SAMPLES if options.aids else SAMPLES,
        "seed": options.seed,
        "tables": True,
        "room": ROOM,
        "people": people,
    }
    write_text(options.out, compact(scenario) + "\n")
    photos = [photo for person in people for visit in person["visits"] for photo in visit["photos"]]
    for kind in sorted(vain):
        distances = [p["camera"]["distance_m"] for p in photos if kind_of(p) == kind]
        print(
            f"{kind}: {len(distances)} photos from {np.mean(distances):.2f} m on average; "
            f"{vain[kind]} cameras that cut the body off were drawn again"
        )


if __name__ == "__main__":
    main()
