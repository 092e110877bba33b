"""What ships with the program may ship, and its bill of materials names all of it."""

import importlib.util
import json
import re
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement

ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def shipped():
    spec = importlib.util.spec_from_file_location("shipped", ROOT / ".ci" / "shipped.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_every_package_that_ships_has_a_licence_that_allows_it(shipped):
    refused = {n: shipped.licence(d) for n, d in shipped.shipped().items()}
    assert {name: said for name, said in refused.items() if not shipped.is_allowed(said)} == {}


@pytest.mark.parametrize(
    ("said", "allowed"),
    [
        ("MIT", True),
        ("Apache-2.0 OR BSD-2-Clause", True),
        ("GPL-3.0-only OR MIT", True),
        ("GNU Lesser General Public License v3 (LGPLv3)", True),
        ("LGPL-3.0-only", True),
        ("GPL-3.0-only", False),
        ("AGPL-3.0-or-later", False),
        ("GNU General Public License v3 (GPLv3)", False),
        ("MIT AND GPL-2.0-only", False),
        ("Proprietary", False),
        ("", False),
    ],
)
def test_a_licence_is_judged_by_its_words(shipped, said, allowed):
    assert shipped.is_allowed(said) is allowed


def test_the_bill_of_materials_names_all_that_is_required(shipped):
    bill = json.loads(json.dumps(shipped.sbom()))
    # CycloneDX 1.6: the fields that its JSON schema requires, and a URN of RFC 4122 as serial number.
    assert (bill["bomFormat"], bill["specVersion"], bill["version"]) == ("CycloneDX", "1.6", 1)
    assert re.fullmatch(r"urn:uuid:[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", bill["serialNumber"])
    purls = [component["purl"] for component in bill["components"]]
    assert len(purls) == len(set(purls))
    for component in bill["components"]:
        assert component["type"] == "library"
        assert component["licenses"]
        # Package URL: pkg:pypi/NAME@VERSION, the name in small letters with dashes.
        assert re.fullmatch(r"pkg:pypi/[a-z0-9]+(-[a-z0-9]+)*@\S+", component["purl"])
    assert required("dependencies") <= {component["name"] for component in bill["components"]}


def required(*kinds):
    """Give the names that ``pyproject.toml`` requires."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    lists = {"dependencies": project["dependencies"], **project["optional-dependencies"]}
    names = {re.match(r"[\w-]+", line)[0].lower() for kind in kinds for line in lists[kind]}
    return names - {"visual-aid"}


def test_the_lock_names_every_required_package_with_a_hash():
    lines = [line for line in (ROOT / ".ci" / "locked.txt").read_text().splitlines() if line[0] != "#"]
    assert all(re.fullmatch(r"[a-z0-9-]+==\S+ --hash=sha256:[0-9a-f]{64}", line) for line in lines)
    assert required("dependencies", "cluster", "postgresql", "dev") <= {
        line.partition("==")[0] for line in lines
    }


def test_the_lock_holds_versions_that_the_project_allows():
    locked = dict(
        line.split(" ")[0].split("==") for line in (ROOT / ".ci" / "locked.txt").read_text().splitlines()[1:]
    )
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    asked = [*project["build-system"]["requires"], *project["project"]["dependencies"]]
    asked += [line for lines in project["project"]["optional-dependencies"].values() for line in lines]
    asked = [one for one in map(Requirement, asked) if one.name != "visual-aid"]
    assert len(asked) > 20
    assert [str(one) for one in asked if not one.specifier.contains(locked[one.name])] == []
