"""Holds an SBOM against CycloneDX's own JSON schema: check_sbom.py FILE (needs requirements.txt)."""

import pathlib
import sys

from cyclonedx.schema import SchemaVersion
from cyclonedx.validation.json import JsonStrictValidator

fault = JsonStrictValidator(SchemaVersion.V1_5).validate_str(pathlib.Path(sys.argv[1]).read_text())
sys.exit(f"not valid: {fault}" if fault else 0)
