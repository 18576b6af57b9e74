"""Reads what tragus hands on with other people's readers, and says where one of them balks.

    python check.py [PROGRAM]      PROGRAM is tragus as it was built; else the one that is found
"""

import json
import subprocess
import sys
from pathlib import Path

from fhir.resources.bundle import Bundle
from pydantic import ValidationError

ROOT = Path(__file__).resolve().parents[2]
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


if __name__ == "__main__":
    check_fhir()
