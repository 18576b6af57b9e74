"""How many pictures another program finds a face in: count.py FILE|FOLDER...

Looks at JPEG and PNG files, and at the pictures inside HTML reports and PDFs (by poppler's pdfimages), with
OpenCV's Haar cascades for faces from the front and from the side, both ways round. Prints a line for each path. Run it on the photos and on
what was drawn of them with faces covered: how many it finds in the photos says what finding none is worth.
"""

import base64
import pathlib
import re
import subprocess
import sys
import tempfile

import cv2
import numpy

IN_HTML = re.compile(rb"data:image/(?:jpeg|png);base64,([A-Za-z0-9+/=]+)")


def pictures(path):
    for file in sorted(path.rglob("*")) if path.is_dir() else [path]:
        if file.suffix.lower() in (".jpg", ".jpeg", ".png"):
            yield file.name, file.read_bytes()
        elif file.suffix.lower() == ".html":
            for number, found in enumerate(IN_HTML.findall(file.read_bytes()), 1):
                yield f"{file.name}, picture {number}", base64.b64decode(found)
        elif file.suffix.lower() == ".pdf":
            with tempfile.TemporaryDirectory() as folder:
                subprocess.run(["pdfimages", "-png", file, f"{folder}/picture"], check=True)
                for number, found in enumerate(sorted(pathlib.Path(folder).iterdir()), 1):
                    yield f"{file.name}, picture {number}", found.read_bytes()


def cascade(name):
    return cv2.CascadeClassifier(cv2.data.haarcascades + name)


FRONT = cascade("haarcascade_frontalface_default.xml")
PROFILE = cascade("haarcascade_profileface.xml")


def has_face(picture):
    grey = cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY)
    least = max(20, picture.shape[0] // 40)
    looks = ((FRONT, grey), (PROFILE, grey), (PROFILE, cv2.flip(grey, 1)))
    return any(
        len(detector.detectMultiScale(image, 1.1, 5, minSize=(least, least))) > 0
        for detector, image in looks
    )


def main():
    for argument in sys.argv[1:]:
        names, found = [], []
        for name, data in pictures(pathlib.Path(argument)):
            names.append(name)
            picture = cv2.imdecode(numpy.frombuffer(data, numpy.uint8), cv2.IMREAD_COLOR)
            if has_face(picture):
                found.append(name)
        print(f"{argument}: a face in {len(found)} of {len(names)} pictures", *found, sep="\n  ")


if __name__ == "__main__":
    main()
