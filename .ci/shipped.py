"""What comes along with an installed visual-aid: its lock, its bill of materials, its licences.

    python .ci/shipped.py lock .ci/locked.txt    every package with the hashes of its files, for this Python
    python .ci/shipped.py sbom sbom.json         a bill of materials in CycloneDX 1.6
    python .ci/shipped.py licences               each package with its licence; 1 where one is not allowed

All but the lock is read from what is installed, without a network.
"""

import importlib.metadata
import json
import platform
import re
import subprocess
import sys
import tomllib
import uuid
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[1]

ALLOWED = (
    *("0BSD", "Apache", "BSD", "CC0-1.0", "HPND", "ISC", "LGPL", "Lesser General Public", "MIT", "MPL"),
    *("Mozilla Public", "PSF", "Python Software Foundation", "Unlicense", "Zlib"),
)
"""Words of licences under which a library may be used unchanged by a program of any licence."""


def shipped(extras=("postgresql", "cluster")):
    """Give every distribution that an installation with these extras brings along, by name, but itself."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    left = [*project["dependencies"]]
    left += [line for extra in extras for line in project["optional-dependencies"][extra]]
    found, asked = {}, set()
    while left:
        requirement = Requirement(left.pop())
        name, wanted = canonicalize_name(requirement.name), ("", *sorted(requirement.extras))
        if (name, wanted) in asked:
            continue
        asked.add((name, wanted))
        found[name] = importlib.metadata.distribution(name)
        for line in found[name].requires or ():
            marker = Requirement(line).marker
            if marker is None or any(marker.evaluate({"extra": extra}) for extra in wanted):
                left.append(line)
    return dict(sorted(found.items()))


def licence(distribution):
    """Say a distribution's licence, as an SPDX expression where it gives one; empty where it says nothing."""
    about = distribution.metadata
    said = about.get("License-Expression")
    classified = [c.split(" :: ")[-1] for c in about.get_all("Classifier", []) if c.startswith("License ::")]
    return said or "; ".join(classified) or (about.get("License") or "").strip().partition("\n")[0]


def is_allowed(text):
    """Tell whether each part of a licence's words is allowed, or one of its alternatives is."""
    return bool(text) and all(
        any(_known(choice) for choice in re.split(r"\s+OR\s+", part))
        for part in re.split(r"\s+AND\s+|;", text)
    )


def _known(name):
    strong = re.search(r"(?<!lesser )general public|(?<!L)GPL|AGPL", name, re.IGNORECASE)
    return not strong and any(word.lower() in name.lower() for word in ALLOWED)


def sbom():
    """Give the bill of materials (CycloneDX 1.6, https://cyclonedx.org/docs/1.6/json/)."""
    parts = shipped()
    root = importlib.metadata.distribution("visual-aid")

    def component(distribution, kind="library"):
        name, version = canonicalize_name(distribution.metadata["Name"]), distribution.version
        said = distribution.metadata.get("License-Expression")
        licences = [{"expression": said}] if said else [{"license": {"name": licence(distribution)}}]
        purl = f"pkg:pypi/{name}@{version}"
        return {
            "type": kind,
            "bom-ref": purl,
            "name": name,
            "version": version,
            "purl": purl,
            "licenses": licences,
        }

    listed = [component(part) for part in parts.values()]
    names = json.dumps([one["purl"] for one in listed])
    return {
        "bomFormat": "CycloneDX",
        "specVersion": "1.6",
        "serialNumber": uuid.uuid5(uuid.NAMESPACE_URL, names).urn,
        "version": 1,
        "metadata": {"component": component(root, "application")},
        "components": listed,
    }


def lock():
    """Give pip's own resolution for this Python as requirements with hashes; asks the package index."""
    command = [sys.executable, "-m", "pip", "install", "--quiet", "--dry-run", "--ignore-installed"]
    command += ["--report", "-", "--only-binary", ":all:", ".[dev]", "hatchling", "editables"]
    report = json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout)
    here = f"Python {sys.version_info.major}.{sys.version_info.minor}, {sys.platform} {platform.machine()}"
    lines = [f"# {here}; made by shipped.py lock"]
    for one in sorted(report["install"], key=lambda one: canonicalize_name(one["metadata"]["name"])):
        name = canonicalize_name(one["metadata"]["name"])
        if name != "visual-aid":
            sum_ = one["download_info"]["archive_info"]["hashes"]["sha256"]
            lines.append(f"{name}=={one['metadata']['version']} --hash=sha256:{sum_}")
    return "\n".join(lines) + "\n"


def main(what, out=None):
    """Do what is asked for and give the exit code."""
    if what == "licences":
        refused = 0
        for name, distribution in shipped().items():
            said = licence(distribution)
            refused += not is_allowed(said)
            print(f"{name} {distribution.version}: {said}{'' if is_allowed(said) else '  NOT ALLOWED'}")
        return int(refused > 0)
    text = lock() if what == "lock" else json.dumps(sbom(), indent=1) + "\n"
    Path(out).write_text(text, encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
