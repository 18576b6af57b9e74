"""Reads what tragus hands on with other people's readers, and says where one of them balks.

    python check.py [PROGRAM]      PROGRAM is tragus as it was built; else the one that is found
"""

import json
import shutil
import subprocess
import sys
import tempfile
from copy import deepcopy
from pathlib import Path

import highdicom
import numpy as np
import pikepdf
import pydicom
from fhir.resources.bundle import Bundle
from jsonschema import Draft202012Validator, FormatChecker
from jsonschema.exceptions import ValidationError as NotOfTheSchema
from PIL import Image
from pycocotools.coco import COCO
from pydantic import ValidationError

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
DEMO = ROOT / "fixtures/demo"
PROGRAM = sys.argv[1] if len(sys.argv) > 1 else "tragus"


def run(*arguments, codes=(0, 1)):
    """What the program prints; 1 says that something could not be measured."""
    done = subprocess.run([PROGRAM, *map(str, arguments)], capture_output=True, text=True)
    if done.returncode not in codes:
        sys.exit(f"{arguments} ended with {done.returncode}: {done.stderr}")
    return done.stdout


def refused(read, errors, what):
    """A reader that refuses nothing proves nothing."""
    try:
        read()
    except errors:
        return
    sys.exit(f"the reader took {what}")


def check_fhir():
    """The demo's visits and their comparison as FHIR R4, parsed with every field typed."""
    bundles = {
        visit.name: run("measure", visit, "--format", "fhir")
        for visit in sorted((DEMO / "visits").iterdir())
    }
    bundles["comparison"] = run("compare", DEMO, "--format", "fhir")
    for name, text in bundles.items():
        bundle = Bundle.parse_raw(text)
        kinds = [entry.resource.resource_type for entry in bundle.entry]
        counts = ", ".join(f"{kinds.count(kind)} {kind}" for kind in sorted(set(kinds)))
        print(f"FHIR {name}: {counts}")
        # What was read is what was written: no field was passed over.
        again = json.loads(bundle.json())
        if again != json.loads(text):
            sys.exit(f"{name} comes back otherwise than it was written")
    for field, value in [("code", None), ("effectiveDateTime", "10.3.2026"), ("valu", 1)]:
        broken = json.loads(bundles["comparison"])
        observation = next(
            entry["resource"]
            for entry in broken["entry"]
            if entry["resource"]["resourceType"] == "Observation"
        )
        observation[field] = value
        refused(lambda: Bundle.parse_obj(broken), ValidationError, f"{field} {value}")
    if not (HERE / "node_modules").is_dir():
        print("FHIR: held against no second validator, since its packages are not installed")
        return
    with tempfile.TemporaryDirectory() as folder:
        files = [Path(folder) / f"{name}.json" for name in bundles]
        for path, text in zip(files, bundles.values()):
            path.write_text(text)
        subprocess.run(["node", HERE / "check_fhir.mjs", *files], check=True)


def check_schemas():
    """The demo's files against their JSON Schemas, and each of them broken."""
    with tempfile.TemporaryDirectory() as folder:
        records = []
        for visit in sorted((DEMO / "visits").iterdir()):
            records.append(Path(folder) / f"{visit.name}.json")
            run("measure", visit, "--save", records[-1])
        files = {
            "visit": [json.loads(path.read_text()) for path in records],
            "case": [json.loads((DEMO / "case.json").read_text())],
            "screening": [
                json.loads(path.read_text()) for path in sorted((DEMO / "screenings").iterdir())
            ],
            "landmarks": [{"side.jpg": {"c7": {"x": 312.5, "y": 204, "sigma_px": 2}}}],
        }

    def first(measure):
        return lambda file: file["measures"][0].update(measure)

    breaches = {
        "visit": [
            lambda file: file.update(schema="tragus-visit/1"),
            lambda file: file.pop("photos"),
            first({"value": "49"}),
            first({"sigma": 0}),
            lambda file: file["visit"].update(stature=164),
            lambda file: next(iter(file["photos"][0]["landmarks"].values())).update(evidence="?"),
        ],
        "case": [
            lambda file: file.update(name="x"),
            lambda file: file.pop("code"),
            lambda file: file.update(birth_year="1974"),
        ],
        "screening": [
            lambda file: file.update(date="10.3.2026"),
            lambda file: file["answers"].update(drains=True),
            lambda file: file.update(answer={}),
        ],
        "landmarks": [
            lambda file: file["side.jpg"]["c7"].pop("y"),
            lambda file: file["side.jpg"]["c7"].update(sigma_px=0),
            lambda file: file["side.jpg"]["c7"].update(z=1),
        ],
    }
    for kind, examples in files.items():
        schema = json.loads(run("schema", kind))
        Draft202012Validator.check_schema(schema)
        validator = Draft202012Validator(schema, format_checker=FormatChecker())
        for example in examples:
            validator.validate(example)
        for breach in breaches[kind]:
            broken = json.loads(json.dumps(examples[0]))
            breach(broken)
            refused(lambda: validator.validate(broken), NotOfTheSchema, f"a broken {kind}")
        print(f"JSON Schema {kind}: {len(examples)} kept, {len(breaches[kind])} refused")


def check_coco():
    """The intake's landmarks read by COCO's own reader; what that gives is read as placed by hand."""
    visit = DEMO / "visits/2026-03-10-intake"
    with tempfile.TemporaryDirectory() as folder:
        first, second = Path(folder) / "first.json", Path(folder) / "second.json"
        first.write_text(run("measure", visit, "--format", "coco"))
        coco = COCO(first)
        names = coco.loadCats(coco.getCatIds(["person"]))[0]["keypoints"]
        for image in coco.loadImgs(coco.getImgIds()):
            (person,) = coco.loadAnns(coco.getAnnIds(imgIds=image["id"], iscrowd=False))
            seen = person["keypoints"][2::3]
            assert len(seen) == len(names) and sum(v > 0 for v in seen) == person["num_keypoints"]
            person["keypoints"][3 * names.index("nose")] += 3
        coco.dataset["annotations"] = coco.loadAnns(coco.getAnnIds())
        second.write_text(json.dumps(coco.dataset))
        record = json.loads(
            run("measure", visit, "--landmarks", second, "--format", "json")
        )
    placed = json.loads(json.dumps(coco.dataset))
    for image, photo in zip(placed["images"], record["photos"]):
        (person,) = (a for a in placed["annotations"] if a["image_id"] == image["id"])
        points = dict(zip(names, zip(*[iter(person["keypoints"])] * 3)))
        for name, landmark in photo["landmarks"].items():
            x, y, v = points[name]
            assert v and landmark["evidence"] == "manual", name
            assert abs(landmark["x"] - x - 0.5) < 0.006 and abs(landmark["y"] - y - 0.5) < 0.006
    print(f"COCO: {len(placed['images'])} images with {len(names)} keypoints, read both ways")


def check_dicom_photos():
    """The pictures that tragus is tested with, as pydicom decodes them."""
    folder = ROOT / "fixtures/formats/dicom"
    whole = np.asarray(Image.open(folder / "photo.png")).astype(int)
    read = 0
    for name, most in [("rgb", 0), ("rgb_implicit_planes", 0), ("rle", 0), ("ybr_full", 2),
                       ("rle_ybr_full", 2), ("ybr_full_422", 60), ("jpeg", 70)]:
        pixels = pydicom.pixels.pixel_array(folder / f"{name}.dcm").astype(int)
        worst = np.abs(pixels - whole).max()
        assert worst <= most, f"{name}: {worst} grey levels off"
        read += 1
    print(f"DICOM: {read} photos are to pydicom what they are to tragus")


def check_dicom():
    """The intake as DICOM: read by pydicom, its report by highdicom, all of it by dciodvfy."""
    visit = DEMO / "visits/2026-03-10-intake"
    validator = shutil.which("dciodvfy")
    with tempfile.TemporaryDirectory() as folder:
        record = json.loads(run("measure", visit, "--dicom", folder, "--format", "json"))
        paths = sorted(Path(folder).iterdir())
        images = {}
        for path in paths:
            dataset = pydicom.dcmread(path)
            assert dataset.PatientID == "demo-01" and not dataset.PatientName
            assert not dataset.PatientBirthDate and dataset.StudyDate == "20260310"
            if "PixelData" in dataset:
                photo = visit / path.name.removesuffix(".overlay.dcm")
                shown = Image.open(photo).size
                assert dataset.pixel_array.shape == (shown[1], shown[0], 3), path.name
                images[dataset.SOPInstanceUID] = dataset.StudyInstanceUID
            if validator:
                done = subprocess.run([validator, "-new", path], capture_output=True, text=True)
                errors = [line for line in done.stderr.splitlines() if line.startswith("Error")]
                assert not errors, f"{path.name}: {errors}"
        report = pydicom.dcmread(Path(folder) / "measures.sr.dcm")
    evidence = report.CurrentRequestedProcedureEvidenceSequence[0]
    referenced = [
        item.ReferencedSOPInstanceUID
        for series in evidence.ReferencedSeriesSequence
        for item in series.ReferencedSOPSequence
    ]
    assert sorted(referenced) == sorted(images) and len(images) == len(record["photos"])
    # A number that could not be measured is an empty sequence in the standard, of which highdicom
    # does not know: those groups are counted here, and left out for it.
    (measurements,) = (
        item
        for item in report.ContentSequence
        if item.ConceptNameCodeSequence[0].CodeMeaning == "Imaging Measurements"
    )
    number = lambda group: next(i for i in group.ContentSequence if i.ValueType == "NUM")
    groups = list(measurements.ContentSequence)
    whole = [group for group in groups if number(group).MeasuredValueSequence]
    shortened = deepcopy(report)
    for item in shortened.ContentSequence:
        if item.ConceptNameCodeSequence[0].CodeMeaning == "Imaging Measurements":
            item.ContentSequence = deepcopy(whole)
    read = highdicom.sr.ComprehensiveSR.from_dataset(shortened).content
    # Asymmetries and repeats aside, a group is a measure of the record.
    values = {round(m["value"], 3) for m in record["measures"] if m.get("value") is not None}
    found = [
        measurement
        for group in read.get_image_measurement_groups()
        for measurement in group.get_measurements()
    ]
    assert len(found) == len(whole) > 0
    assert {round(one.value, 3) for one in found} <= values
    print(
        f"DICOM: {len(images)} images and a report of {len(groups)} groups, {len(whole)} with a value,"
        f" read by pydicom and highdicom{', and held to be right by dciodvfy' if validator else ''}"
    )
    if not validator:
        print("DICOM: dciodvfy is not installed, so no module was checked")


def elements(of):
    """The elements of a PDF's structure, from the top."""
    if isinstance(of, pikepdf.Array):
        for one in of:
            yield from elements(one)
    elif isinstance(of, pikepdf.Dictionary):
        if "/S" in of:
            yield of
        yield from elements(of.get("/K", pikepdf.Array()))


def check_pdf():
    """The comparison as a tagged PDF: its structure, and words for each picture."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "comparison.pdf"
        run("compare", DEMO, "--report", path)
        with pikepdf.open(path) as pdf:
            assert pdf.Root.MarkInfo.Marked and str(pdf.Root.Lang) == "en-GB"
            assert pdf.Root.ViewerPreferences.DisplayDocTitle
            found = list(elements(pdf.Root.StructTreeRoot.K))
            kinds = [str(element.S) for element in found]
            for kind in ("/H1", "/H2", "/Table", "/TH", "/TD", "/L", "/Figure"):
                assert kind in kinds, kind
            # Photos and charts of the demo.
            figures = [element for element in found if element.S == "/Figure"]
            assert len(figures) > 20 and all(str(figure.get("/Alt", "")) for figure in figures)
    print(f"PDF: {len(kinds)} elements, {len(figures)} pictures in words")


if __name__ == "__main__":
    check_fhir()
    check_schemas()
    check_coco()
    check_dicom_photos()
    check_dicom()
    check_pdf()
