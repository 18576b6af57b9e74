"""What the program is made of: the list and the texts of licences that it carries, and an SBOM.

    python3 scripts/supply/supply.py             writes src/cli/licences/ and not_shipped.txt here
    python3 scripts/supply/supply.py --sbom FILE writes a CycloneDX 1.5 SBOM (JSON)

Goes by Cargo.lock and the packages that cargo has fetched; the same lock gives the same bytes.
"""

import argparse
import hashlib
import json
import pathlib
import re
import subprocess
import tomllib
import uuid

ROOT = pathlib.Path(__file__).resolve().parents[2]
CARRIED = ROOT / "src/cli/licences"
NOT_SHIPPED = ROOT / "scripts/supply/not_shipped.txt"
# The systems that the program is built for; what only others need is not shipped.
SYSTEMS = [
    "x86_64-unknown-linux-gnu",
    "aarch64-unknown-linux-gnu",
    "aarch64-apple-darwin",
    "x86_64-pc-windows-msvc",
]
TEXT_NAMES = re.compile(r"^(licen[sc]e|copying|notice|copyright|unlicense|readme\.ijg)", re.I)
# Families of the fonts that typst-assets holds, each with its licence as that package states it.
FONTS = {
    "DejaVuSansMono": ("DejaVu Sans Mono", "Bitstream-Vera"),
    "Foxit": ("Foxit fonts for PDF", "see NOTICE of typst-assets"),
    "LibertinusSerif": ("Libertinus Serif", "OFL-1.1"),
    "NewCM": ("New Computer Modern", "GFL"),
}


def metadata(system):
    command = ["cargo", "metadata", "--format-version=1", "--locked", "--filter-platform", system]
    return json.loads(subprocess.check_output(command, cwd=ROOT))


def is_macro(package):
    return any("proc-macro" in target["kind"] for target in package["targets"])


def shipped():
    """Packages that end up in the program on one of the systems, and what each needs there."""
    packages, needs = {}, {}
    for system in SYSTEMS:
        told = metadata(system)
        by_id = {package["id"]: package for package in told["packages"]}
        nodes = {node["id"]: node for node in told["resolve"]["nodes"]}
        root = told["resolve"]["root"]
        waiting, seen = [root], {root}
        while waiting:
            at = waiting.pop()
            package = by_id[at]
            packages[at] = package
            for dep in nodes[at]["deps"]:
                normal = any(kind["kind"] is None for kind in dep["dep_kinds"])
                if not normal or is_macro(by_id[dep["pkg"]]):
                    continue
                needs.setdefault(at, set()).add(dep["pkg"])
                if dep["pkg"] not in seen:
                    seen.add(dep["pkg"])
                    waiting.append(dep["pkg"])
    root = packages.pop(root)
    crates = sorted(packages.values(), key=lambda p: (p["name"], p["version"]))
    return root, crates, needs


def locked():
    return tomllib.loads((ROOT / "Cargo.lock").read_text())["package"]


def licence(package):
    """The SPDX expression; older packages write a slash for "or"."""
    return re.sub(r"\s*/\s*", " OR ", package["license"] or "see its licence file")


def texts(package):
    folder = pathlib.Path(package["manifest_path"]).parent
    files = [f for f in folder.iterdir() if f.is_file() and TEXT_NAMES.match(f.name)]
    if package["license_file"]:
        files.append(folder / package["license_file"])
    nested = [f for f in folder.glob("vendor/*") if f.is_file() and TEXT_NAMES.match(f.name)]
    found = []
    for file in sorted(set(files + nested)):
        text = file.read_text(encoding="utf-8", errors="replace").replace("\r\n", "\n")
        found.append("\n".join(line.rstrip() for line in text.strip("\n\f \ufeff").split("\n")))
    return found


COPYRIGHT = re.compile(r"^\W*(copyright\b|\(c\)|©).*", re.I)
TERMS_END = "END OF TERMS AND CONDITIONS"


def is_apache(text):
    return "Version 2.0, January 2004" in text[:400] and TERMS_END in text


def notices(text):
    """Whose it is: the lines that differ between texts that say the same."""
    lines = text.split(TERMS_END)[-1] if is_apache(text) else text
    found = [line.strip(" *#") for line in lines.split("\n") if COPYRIGHT.match(line)]
    return [line for line in found if not re.search(r"[\[{]yyyy|license|notice", line, re.I)]


def body(text):
    """The text without these lines, and without the form at the end of Apache-2.0."""
    if is_apache(text):
        return text.split(TERMS_END)[0] + TERMS_END
    own = set(notices(text))
    kept = [line for line in text.split("\n") if line.strip(" *#") not in own]
    return "\n".join(kept).strip("\n")


def key(text):
    """Alike in all texts that say the same, however they are wrapped."""
    return re.sub(r"[^a-z0-9]+", " ", body(text).lower()).strip()


def models():
    told = json.loads((ROOT / "models/manifest.json").read_text())
    for model in told["models"]:
        source = model["source"]
        own = source["package"] == "tragus" or source.get("registry") is None
        where = "this project" if own else f"{source['registry']}: {source['package']}"
        yield model, source["version"], where


def fonts(crates):
    """Families in typst-assets, with the checksum of each file."""
    package = next((c for c in crates if c["name"] == "typst-assets"), None)
    if package is None:
        return
    folder = pathlib.Path(package["manifest_path"]).parent
    files = sorted(f for f in folder.rglob("*") if f.suffix in (".ttf", ".otf", ".pfb"))
    for prefix, (family, spdx) in FONTS.items():
        of_family = [f for f in files if f.name.startswith(prefix)]
        if of_family:
            yield family, spdx, package["version"], of_family
    strangers = [f.name for f in files if not f.name.startswith(tuple(FONTS))]
    assert not strangers, f"fonts of no known family: {strangers}"


def write_lists(root, crates):
    rows = [("crate", c["name"], c["version"], licence(c), f"crates.io: {c['name']}") for c in crates]
    rows.append(("crate", "std", "of the compiler", "MIT OR Apache-2.0", "the Rust project"))
    rows += [("net", m["name"], version, m["licence"], where) for m, version, where in models()]
    for family, spdx, version, _ in fonts(crates):
        rows.append(("font", family, version, spdx, "crates.io: typst-assets"))
    CARRIED.mkdir(parents=True, exist_ok=True)
    (CARRIED / "list.tsv").write_text("".join("\t".join(row) + "\n" for row in rows))

    # One text stands once, with who goes by it and the copyright lines of each.
    users = {}
    without = []
    for crate in crates:
        found = texts(crate)
        for text in found:
            users.setdefault(key(text), (text, []))[1].append((crate, notices(text)))
        if not found:
            authors = ", ".join(crate["authors"]) or "its authors"
            without.append(f"{crate['name']} {crate['version']}: {licence(crate)}, by {authors}")
    apache = (ROOT / "models/LICENSE-APACHE-2.0.txt").read_text().strip()
    nets = {"name": "the nets, and tragus", "version": "itself"}
    users.setdefault(key(apache), (apache, []))[1].append((nets, []))
    parts = []
    for text, of in sorted(users.values(), key=lambda entry: entry[1][0][0]["name"].lower()):
        names = [
            f"{crate['name']} {crate['version']}" + "".join(f"; {line}" for line in lines)
            for crate, lines in of
        ]
        head = "\n".join(dict.fromkeys(names))
        parts.append("=" * 80 + f"\n{head}\n" + "=" * 80 + f"\n\n{body(text)}\n")
    if without:
        parts.append(
            "=" * 80
            + "\nPackages that carry no text of their own, under licences whose texts stand above:\n"
            + "=" * 80
            + "\n\n"
            + "\n".join(without)
            + "\n"
        )
    (CARRIED / "texts.txt").write_text("\n".join(parts))

    there = {(c["name"], c["version"]) for c in crates} | {(root["name"], root["version"])}
    rest = sorted((p["name"], p["version"]) for p in locked() if (p["name"], p["version"]) not in there)
    NOT_SHIPPED.write_text("".join(f"{name} {version}\n" for name, version in rest))


def purl(package):
    return f"pkg:cargo/{package['name']}@{package['version']}"


def sbom(root, crates, needs):
    sums = {(p["name"], p["version"]): p.get("checksum") for p in locked()}
    by_id = {c["id"]: c for c in crates}
    components = []
    for crate in crates:
        component = {
            "type": "library",
            "bom-ref": purl(crate),
            "name": crate["name"],
            "version": crate["version"],
            "scope": "required",
            "licenses": [{"expression": licence(crate)}],
            "purl": purl(crate),
        }
        if checksum := sums.get((crate["name"], crate["version"])):
            component["hashes"] = [{"alg": "SHA-256", "content": checksum}]
        components.append(component)
    extra = []
    for model, version, where in models():
        extra.append(
            {
                "type": "machine-learning-model",
                "bom-ref": f"net:{model['name']}",
                "name": model["name"],
                "version": version,
                "description": f"ONNX, from {where}",
                "hashes": [{"alg": "SHA-256", "content": model["sha256"]}],
                "licenses": [{"license": {"id": model["licence"]}}],
            }
        )
    for family, spdx, version, files in fonts(crates):
        for file in files:
            digest = hashlib.sha256(file.read_bytes()).hexdigest()
            extra.append(
                {
                    "type": "file",
                    "bom-ref": f"font:{file.name}",
                    "name": file.name,
                    "version": version,
                    "description": f"Font, {family}, from typst-assets",
                    "hashes": [{"alg": "SHA-256", "content": digest}],
                    "licenses": [{"license": {"name": spdx}}],
                }
            )
    root_ref = purl(root)
    dependencies = []
    for package in [root, *crates]:
        on = sorted(purl(by_id[need]) for need in needs.get(package["id"], ()))
        if package is root:
            on += [component["bom-ref"] for component in extra]
        dependencies.append({"ref": purl(package), "dependsOn": on})
    lock = hashlib.sha256((ROOT / "Cargo.lock").read_bytes()).hexdigest()
    return {
        "$schema": "http://cyclonedx.org/schema/bom-1.5.schema.json",
        "bomFormat": "CycloneDX",
        "specVersion": "1.5",
        "serialNumber": f"urn:uuid:{uuid.uuid5(uuid.NAMESPACE_OID, lock)}",
        "version": 1,
        "metadata": {
            "component": {
                "type": "application",
                "bom-ref": root_ref,
                "name": root["name"],
                "version": root["version"],
                "licenses": [{"license": {"id": root["license"]}}],
                "purl": root_ref,
            }
        },
        "components": components + extra,
        "dependencies": dependencies,
    }


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--sbom", type=pathlib.Path, metavar="FILE")
    arguments = parser.parse_args()
    root, crates, needs = shipped()
    if arguments.sbom:
        text = json.dumps(sbom(root, crates, needs), indent=1) + "\n"
        arguments.sbom.write_text(text)
    else:
        write_lists(root, crates)


main()
