"""Checks truth.py, and the board's corners in the picture, on figures known in closed form.

    python check_truth.py

Needs numpy only: no bodies, no Blender.
"""

import math

import numpy as np

import board
import truth

# Up from level, forward or to the subject's left, in degrees: a unit step.
step = lambda degrees: (math.cos(math.radians(degrees)), math.sin(math.radians(degrees)))


def sagittal(left=0.0, **places):
    """Points (forward, left, up) from (forward, up); `left` must change nothing."""
    return {name: (forward, left, up) for name, (forward, up) in places.items()}


def frontal(forward=0.0, **places):
    """Points (forward, left, up) from (left, up); `forward` must change nothing."""
    return {name: (forward, left, up) for name, (left, up) in places.items()}


def found(points, view, task, side="", operated="none"):
    rows = truth.measures(points, view, task, side, operated)
    return {(r["measure"], r["side"], r["unit"]): r["value"] for r in rows}


def near(got, expected):
    assert got.keys() == expected.keys(), got.keys() ^ expected.keys()
    for key, value in expected.items():
        # Rows are rounded to three decimals.
        assert abs(got[key] - value) <= 0.00051, (key, got[key], value)


def standing_from_the_side():
    for side in truth.OTHER:
        for craniovertebral, lean in ((28.0, -4.0), (50.0, 0.0), (58.0, 9.0)):
            ear, trunk = step(craniovertebral), step(90 - lean)
            points = sagittal(
                left=137.0 if side == "left" else -137.0,
                c7=(-50, 1400),
                t12=(-50, 1000),
                thoracic_apex=(-90, 1200),
                **{
                    f"tragus_{side}": (-50 + 120 * ear[0], 1400 + 120 * ear[1]),
                    f"acromion_{side}": (-50 + 30, 1400 - 30 * math.sqrt(3)),
                    f"hip_joint_{side}": (5, 880),
                    f"shoulder_joint_{side}": (5 + 500 * trunk[0], 880 + 500 * trunk[1]),
                },
            )
            near(
                found(points, "side", "stand", side),
                {
                    ("craniovertebral_angle", side, "deg"): craniovertebral,
                    ("head_forward_of_c7", side, "cm"): 12 * ear[0],
                    ("head_forward_of_shoulder", side, "cm"): 12 * ear[0] - 3,
                    # The acromion lies 30 ahead of C7 and 30·√3 under it.
                    ("sagittal_shoulder_angle", side, "deg"): 60.0,
                    ("shoulder_forward_of_c7", side, "cm"): 3.0,
                    ("thoracic_angle", side, "deg"): 2 * math.degrees(math.atan(40 / 200)),
                    ("kyphosis_index", side, "%"): 10.0,
                    ("trunk_lean", side, "deg"): lean,
                },
            )


def thoracic_apex_nearer_c7():
    """A chord that leans, and an apex that is not in its middle."""
    along, behind = step(-70), step(-160)
    place = lambda a, b: (a * along[0] + b * behind[0], 1400 + a * along[1] + b * behind[1])
    points = sagittal(c7=place(0, 0), thoracic_apex=place(150, 30), t12=place(400, 0))
    height, upper, lower = truth._thorax(truth._sagittal(points))
    assert (round(height, 6), round(upper, 6), round(lower, 6)) == (30, 150, 250)


def reaching_from_the_side():
    for side in truth.OTHER:
        for flexion in (90.0, 135.0, 180.0, 190.0):
            for bend in (0.0, 35.0):
                arm, fore, lean = step(flexion - 90), step(flexion - 90 + bend), -6.0
                shoulder, trunk = (-10, 1350), step(90 - lean)
                elbow = (shoulder[0] + 280 * arm[0], shoulder[1] + 280 * arm[1])
                # The ear stands 110 up the arm and 45 behind its line: the arm is in front.
                ear = (shoulder[0] + 110 * arm[0] - 45 * arm[1], shoulder[1] + 110 * arm[1] + 45 * arm[0])
                points = sagittal(
                    **{
                        f"shoulder_joint_{side}": shoulder,
                        f"elbow_{side}": elbow,
                        f"wrist_{side}": (elbow[0] + 240 * fore[0], elbow[1] + 240 * fore[1]),
                        f"hip_joint_{side}": (shoulder[0] - 480 * trunk[0], shoulder[1] - 480 * trunk[1]),
                        f"tragus_{side}": ear,
                    }
                )
                near(
                    found(points, "side", "reach", side),
                    {
                        ("shoulder_flexion", side, "deg"): flexion,
                        ("shoulder_flexion_to_trunk", side, "deg"): flexion + lean,
                        ("elbow_extension_deficit", side, "deg"): bend,
                        ("arm_to_ear", side, "cm"): 4.5,
                        ("arm_to_ear", side, "%"): 100 * 45 / 280,
                    },
                )


def standing_from_front_and_back():
    shoulders, ears = step(2.5), step(-4.0)
    points = frontal(
        ankle_left=(60, 80),
        ankle_right=(-100, 80),
        acromion_left=(170 * shoulders[0], 1350 + 170 * shoulders[1]),
        acromion_right=(-170 * shoulders[0], 1350 - 170 * shoulders[1]),
        tragus_left=(10 + 70 * ears[0], 1500 + 70 * ears[1]),
        tragus_right=(10 - 70 * ears[0], 1500 - 70 * ears[1]),
        shoulder_joint_left=(150, 1310),
        shoulder_joint_right=(-200, 1310),
    )
    # The middle of the ankles is 20 to the right. The back view shows the same body.
    for view in ("front", "back"):
        near(
            found(points, view, "stand"),
            {
                ("shoulder_tilt", "", "deg"): 2.5,
                ("head_tilt", "", "deg"): -4.0,
                ("head_shift", "", "cm"): 3.0,
                ("trunk_shift", "", "cm"): -0.5,
            },
        )


def reaching(abduction, bend, ear_up):
    """Both arms raised sideways; the ears `ear_up` over the shoulder joints and 100 inward of them."""
    places = {}
    for side, outward in (("left", 1), ("right", -1)):
        arm, fore = step(abduction[side] - 90), step(abduction[side] - 90 + bend[side])
        shoulder = (170 * outward, 1350)
        elbow = (shoulder[0] + outward * 280 * arm[0], shoulder[1] + 280 * arm[1])
        places |= {
            f"shoulder_joint_{side}": shoulder,
            f"elbow_{side}": elbow,
            f"wrist_{side}": (elbow[0] + outward * 240 * fore[0], elbow[1] + 240 * fore[1]),
            f"tragus_{side}": (70 * outward, 1350 + ear_up),
        }
    return frontal(forward=-20.0, **places)


def reaching_from_front_and_back():
    abduction, bend = {"left": 150.0, "right": 135.0}, {"left": 5.0, "right": 20.0}
    points = reaching(abduction, bend, 150)
    expected, beside = {}, {}
    for side in truth.OTHER:
        expected[("shoulder_abduction", side, "deg")] = abduction[side]
        expected[("elbow_extension_deficit", side, "deg")] = bend[side]
        out = 100 + 150 * math.tan(math.radians(180 - abduction[side]))
        beside[("arm_to_ear_front", side, "cm")] = out / 10
        beside[("arm_to_ear_front", side, "%")] = 100 * out / 280
    near(found(points, "back", "reach"), expected)
    near(found(points, "front", "reach"), expected | beside)
    near(found(points, "front", "reach", operated="both"), expected | beside)
    for operated, difference in (("left", 15.0), ("right", -15.0)):
        asymmetry = {("reach_asymmetry", operated, "deg"): difference}
        near(found(points, "front", "reach", operated=operated), expected | beside | asymmetry)


def arms_that_do_not_pass_the_ear():
    """A level or sinking arm never meets ear height; a low one does so beyond the hand."""
    sides = lambda degrees, up: {
        side for measure, side, _ in found(reaching(degrees, {"left": 0.0, "right": 0.0}, up), "front", "reach")
        if measure == "arm_to_ear_front"
    }
    assert sides({"left": 80.0, "right": 89.0}, 150) == set()
    # At 105° two upper arms rise by 2·280·sin 15° = 145.
    assert sides({"left": 105.0, "right": 178.0}, 150) == {"right"}
    assert sides({"left": 105.0, "right": 178.0}, 140) == {"left", "right"}


def corners_of(hung_at, turn_deg, **camera):
    pose = {"focal_px": 700.0, "distance_m": 3.0, "height_m": 0.9, "pitch_deg": 0.0, "roll_deg": 0.0} | camera
    return board.outline_pixels(np.array(hung_at), turn_deg, pose, (600, 800))


def corners_of_the_board():
    """Half of 112 mm across and half of 238 mm up, 3 m from a lens with 700 pixels to the radian."""
    signs = ((-1, 1), (1, 1), (1, -1), (-1, -1))
    level = (0.0, 0.0, 0.9)
    across, up = 700 * 0.056 / 3, 700 * 0.119 / 3
    close = lambda got, expected: np.testing.assert_allclose(got, expected, rtol=0, atol=1e-9)
    close(corners_of(level, 0.0), [(300 + x * across, 400 - y * up) for x, y in signs])
    # 20 cm to the right, 10 cm up and 15 cm nearer: 2.85 m from the lens.
    moved = [(300 + 700 * (0.2 + 0.056 * x) / 2.85, 400 - 700 * (0.1 + 0.119 * y) / 2.85) for x, y in signs]
    close(corners_of((0.2, -0.15, 1.0), 0.0), moved)
    # Turned by 30 degrees the right edge is farther away by half of 56 mm.
    for turn in (30.0, -30.0):
        depth = lambda x: 3 + x * math.copysign(0.028, turn)
        half = 0.056 * math.sqrt(3) / 2
        turned = [(300 + 700 * x * half / depth(x), 400 - 700 * y * 0.119 / depth(x)) for x, y in signs]
        close(corners_of(level, turn), turned)
    # A camera turned clockwise by 90 degrees sees the board's top on its left.
    close(corners_of(level, 0.0, roll_deg=90.0), [(300 - y * up, 400 - x * across) for x, y in signs])
    # Pitched up by the angle to a corner, the camera has that edge at the height of its middle.
    for y, rows in ((1, (0, 1)), (-1, (2, 3))):
        pitched = corners_of(level, 0.0, pitch_deg=math.degrees(math.atan(y * 0.119 / 3)))
        close(pitched[list(rows), 1], 400)
        close(abs(pitched[list(rows), 0] - 300), 700 * 0.056 / math.hypot(3, 0.119))


def board_of_two_tags():
    """Black borders, a white module between the tags, and as much ink as the patterns say."""
    for tag in board.TAGS:
        assert [len(row) for row in tag] == [8] * 8
        assert {tag[0], tag[7], *("".join(r[c] for r in tag) for c in (0, 7))} == {"#" * 8}
    ink = np.array(list(board.black_squares()))
    size = ink[:, 1, 0] - ink[:, 0, 0], ink[:, 0, 1] - ink[:, 3, 1]
    assert (size[0] * size[1]).sum() == 14 * 14 * "".join(r for tag in board.TAGS for r in tag).count("#")
    assert (ink.min(axis=(0, 1)) == (-56, -119)).all() and (ink.max(axis=(0, 1)) == (56, 119)).all()
    assert not ((ink[:, 0, 1] > -7) & (ink[:, 3, 1] < 7)).any()


CHECKS = (
    standing_from_the_side,
    thoracic_apex_nearer_c7,
    reaching_from_the_side,
    standing_from_front_and_back,
    reaching_from_front_and_back,
    arms_that_do_not_pass_the_ear,
    corners_of_the_board,
    board_of_two_tags,
)

if __name__ == "__main__":
    for check in CHECKS:
        check()
        print("ok", check.__name__.replace("_", " "))
