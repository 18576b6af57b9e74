"""The bones and landmarks of a body, by name, in the order in which arrays hold them."""

SIDES = {"left": ".L", "right": ".R"}

# Parents before children; skin of any other bone follows the nearest of these above it.
BONES = (
    ["root", "spine05", "spine04", "spine03", "spine02", "spine01", "neck01", "neck02", "neck03", "head"]
    + [
        bone + end
        for end in SIDES.values()
        for bone in (
            "clavicle",
            "shoulder01",
            "upperarm01",
            "upperarm02",
            "lowerarm01",
            "lowerarm02",
            "wrist",
        )
    ]
    + [bone + end for end in SIDES.values() for bone in ("pelvis", "upperleg01")]
)


def both_sides(*names):
    return [f"{name}_{side}" for name in names for side in SIDES]


# The order in which the net gives them.
LANDMARKS = [
    *both_sides("tragus", "eye_outer"),
    "c7",
    *both_sides("acromion"),
    "sternal_notch",
    "t4",
    "t8",
    "t12",
    "l3",
    *both_sides("trochanter"),
    "chin",
    *both_sides("elbow", "wrist", "shoulder_joint", "hip_joint"),
]


def other_side(name):
    if name.endswith("_left"):
        return name.removesuffix("_left") + "_right"
    if name.endswith("_right"):
        return name.removesuffix("_right") + "_left"
    return name
