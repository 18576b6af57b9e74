"""Render a scenario of invented people: photos, visits and their truth."""

import argparse
import fcntl
import json
import os
import tempfile
from contextlib import contextmanager
from pathlib import Path

import piexif
from PIL import Image

import aids
import scene
import truth
from body import body_frame_mm
from cast import Cast, camera_of, of_photo
from files import write_csv, write_json

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
ABOUT_AIDS = (
    " board: its middle in the body frame (at), the way it faces (turn_deg, as the camera's turn_deg for a body), how "
    "far its plane lies before the middle of the hip joints along the body axis that faces the camera "
    "(toward_camera_mm), and the pixels of the corners of all that is black, 112 x 238 mm, from the top left clockwise. "
    "stickers: the middle of each dot that is seen, in pixels and in the body frame (at), how far that lies over the "
    "surface (raised_mm: a ball's half diameter; a flat dot's 0), the share of it that no other thing hides (seen), and "
    "for a flat one the cosine of the angle between its normal and the line to the camera (facing)."
)


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


@contextmanager
def claim(target):
    """Whether this process may render `target`; no other may until the block ends."""
    lock = target.with_suffix(".lock")
    with open(lock, "w") as held:
        try:
            fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            yield False
            return
        try:
            # Whoever held it may just have finished the photo.
            yield not target.exists()
        finally:
            lock.unlink(missing_ok=True)


def tables(folder, photos, cast):
    """The folder's manifest, photos.csv, and its truth as rows of the catalogue, truth.csv.

    `photos` are (person's code, operated side, file name, truth).
    """
    # A clinic reads the stature off a wall to the half centimetre.
    stature = lambda code: round(cast.body(code).stature_mm() / 5) / 2
    write_csv(
        folder / "photos.csv",
        ("photo", "person", "stature_cm", "operated_side"),
        [(file, code, f"{stature(code):.1f}", operated) for code, operated, file, _ in photos],
    )
    # A difference between the sides belongs to neither.
    side = lambda row: "" if row["measure"] == "reach_asymmetry" else row["side"]
    write_csv(
        folder / "truth.csv",
        ("photo", "measure", "side", "value", "unit"),
        [
            (file, row["measure"], side(row), row["value"], row["unit"])
            for _, _, file, found in photos
            for row in found["measures"]
        ],
    )


def render_photo(target, photo, visit, cast, code, scenario, options, number):
    """Render one photo unless it exists or another process is at it; returns its truth."""
    size, seed = photo.get("size", scenario["size"]), scenario["seed"]
    # Drawn for every photo, rendered or not, so that a resumed run agrees.
    rng = of_photo(seed, code, visit, photo)
    camera = camera_of(photo, size, rng)
    placed = cast.in_photo(code, visit, photo, camera, rng)
    if not photo.get("cropped"):
        if not all(someone.framed(camera, size) for someone in placed):
            raise ValueError(f"{photo['file']}: a body leaves the picture")
    found = photo_truth(photo, visit, placed, camera, size)
    room = scenario["room"] | cast.people[code].get("room", {}) | visit.get("room", {}) | photo.get("room", {})
    pieces, things = [p.pieces(seed) for p in placed], []
    if placed:
        wall_at = room.get("wall_at", scene.WALL)
        things, more = aids.of_photo(photo, cast.people[code], placed[0], pieces[0], camera, size, wall_at, seed)
        found |= more
    if target.exists() or options.only not in str(target):
        return found
    with claim(target) as mine, tempfile.TemporaryDirectory() as scratch:
        if not mine:
            return found
        picture = Path(scratch) / "picture.png"
        scene.render(
            picture, [(own, p.look) for own, p in zip(pieces, placed)], things, room, camera, *size,
            samples=options.draft or scenario["samples"], seed=int(rng.integers(1 << 30)),
        )
        part = target.with_suffix(f".{os.getpid()}.part")
        Image.open(picture).convert("RGB").save(part, "JPEG", quality=QUALITY, exif=exif_of(visit, camera, number))
        os.replace(part, target)
    print(f"{target} {target.stat().st_size // 1024} kB", flush=True)
    return found


def render_folder(folder, visits, cast, scenario, options):
    """All photos of a folder, with visit.json and truth.json.

    `visits` are (person's code, visit). A folder that several people share is
    nobody's visit: only its label is written, and each photo has its own stature.
    The folders of a truth set are shared, and have tables.
    """
    folder.mkdir(parents=True, exist_ok=True)
    with_tables = scenario.get("tables", False)
    shared = with_tables or len(visits) > 1
    with_aids = any("board" in photo for _, visit in visits for photo in visit["photos"])
    truths, rows, head = {}, [], {"about": ABOUT + ABOUT_AIDS if with_aids else ABOUT}
    for code, visit in visits:
        for number, photo in enumerate(visit["photos"]):
            found = render_photo(folder / photo["file"], photo, visit, cast, code, scenario, options, number)
            if shared and photo["view"]:
                found = {"stature_mm": round(cast.body(code).stature_mm(), 1)} | found
            truths[photo["file"]] = found
            rows.append((code, visit["operated_side"], photo["file"], found))
    if with_tables:
        tables(folder, rows, cast)
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
