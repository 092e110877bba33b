"""The worklist for other programs, read back by libraries that have no part in writing it."""

import csv
import datetime as dt
import io
import json
import zipfile
from xml.etree import ElementTree

import numpy as np
import pyarrow.parquet as pq
import pytest
from skimage.draw import polygon2mask

from visual_aid.model import SIGNS, Candidate, PhotoInfo, Quality, Screening
from visual_aid.outputs import exports
from visual_aid.records.entries import Decision, Position, StoredCandidate, StoredPhoto, Visit, WorklistEntry

MOMENT = dt.datetime(2026, 5, 4, 7, 12, tzinfo=dt.UTC)
TRAIL = Candidate(
    1,
    "rust_trail",
    1,
    (10.0, 20.0, 30.0, 40.0),
    ((10.0, 20.0), (40.0, 20.0), (40.0, 60.0)),
    0.8,
    {},
    "=SUM(A1)",
)
FORMULAS = ("=1+1", "+1", "-1", "@x", "\t=1", "\r=1")


def entry(name="a.jpg", top=TRAIL, like=0):
    info = PhotoInfo(name, f"/yard/{name}", "5e0a", 800, 600, "2026-05-04T07:12:00")
    screening = Screening("0", info, Quality(True), (), () if top is None else (top,), priority=0.8)
    visit = Visit(1, "417", dt.date(2026, 5, 4), None, None, "J. Doe")
    place = Position(1, "417", 2, "left", "wheel end")
    photo = StoredPhoto("id", name, f"/yard/{name}", screening, visit, place, MOMENT)
    return WorklistEntry(photo, "to_decide", 1, 0, 0, 0, 0.8, top, like)


@pytest.mark.parametrize("start", FORMULAS)
def test_no_cell_of_a_csv_is_a_formula(start):
    # OWASP, CSV Injection: cells that start with = + - @, tab or return are taken for formulas; from memory.
    text = exports.worklist_csv([entry(f"{start}.jpg")]).decode("utf-8-sig")
    header, row = csv.reader(io.StringIO(text, newline=""))
    assert header == [name for name, _ in exports.COLUMNS]
    assert row[0] == f"'{start}.jpg"
    assert row[-1] == "'=SUM(A1)"


def cells(workbook):
    """Read the cells of a workbook's first sheet as ECMA-376 lays them down: type and text."""
    space = {"m": "http://schemas.openxmlformats.org/spreadsheetml/2006/main"}
    with zipfile.ZipFile(io.BytesIO(workbook)) as package:
        sheet = ElementTree.fromstring(package.read("xl/worksheets/sheet1.xml"))
    assert sheet.findall(".//m:f", space) == []
    assert sheet.findall(".//m:hyperlink", space) == []
    return [
        [(c.get("t"), "".join(c.itertext())) for c in row.findall("m:c", space)]
        for row in sheet.iterfind(".//m:row", space)
    ]


def test_a_workbook_holds_texts_and_numbers_and_no_formula():
    header, first, second = cells(exports.worklist_xlsx([entry("=cmd.jpg"), entry("http://x/")]))
    assert [text for _, text in header] == [name for name, _ in exports.COLUMNS]
    assert first[0] == ("inlineStr", "'=cmd.jpg")
    assert second[0] == ("inlineStr", "http://x/")
    by_name = dict(zip((text for _, text in header), first, strict=False))
    assert by_name["unit"] == ("inlineStr", "417")
    assert by_name["axle"][1] == "2"


def test_parquet_comes_back_with_its_types():
    table = pq.read_table(io.BytesIO(exports.worklist_parquet([entry("=1.jpg", like=3), entry(top=None)])))
    assert table.column_names == [name for name, _ in exports.COLUMNS]
    first, second = table.to_pylist()
    assert (first["photo"], first["priority"], first["axle"], first["like"]) == ("=1.jpg", 0.8, 2, 3)
    assert (second["cue"], second["score"], second["reason"]) == (None, None, "")
    assert exports.worklist_parquet([]) != b""


def stored(number, body, outcome=None, source="engine"):
    said = None if outcome is None else Decision(1, number, outcome, "J. Doe", "", MOMENT, None, None)
    return StoredCandidate(number, "id", source, body, True, said)


def test_coco_labels_are_as_the_format_lays_down():
    # https://cocodataset.org/#format-data, from memory: ids are unique, boxes are [x, y, width, height] from
    # the image's corner, segmentations are lists of x, y.
    photo = entry().photo
    labels = json.loads(
        exports.coco_json([(photo, [stored(7, TRAIL, "confirmed"), stored(8, TRAIL)]), (photo, [])])
    )
    assert [image["id"] for image in labels["images"]] == [1, 2]
    assert labels["images"][0] == {
        "id": 1,
        "file_name": "/yard/a.jpg",
        "width": 800,
        "height": 600,
        "date_captured": "2026-05-04T07:12:00",
    }
    first, second = labels["annotations"]
    assert (first["id"], second["id"], first["image_id"]) == (1, 2, 1)
    assert first["bbox"] == [10.5, 20.5, 30.0, 40.0]
    assert first["segmentation"] == [[10.5, 20.5, 40.5, 20.5, 40.5, 60.5]]
    assert (first["outcome"], second["outcome"], first["iscrowd"]) == ("confirmed", None, 0)
    names = {category["id"]: category["name"] for category in labels["categories"]}
    assert names[first["category_id"]] == "rust_trail"
    assert sorted(names.values()) == sorted(SIGNS)


def test_the_area_is_that_of_the_pixels_inside():
    outline = ((5.0, 5.0), (95.0, 15.0), (70.0, 80.0), (20.0, 60.0))
    body = Candidate(1, "gap", None, (5.0, 5.0, 90.0, 75.0), outline, 0.5)
    labels = json.loads(exports.coco_json([(entry().photo, [stored(1, body)])]))
    inside = polygon2mask((100, 100), np.array(outline)[:, ::-1]).sum()
    assert labels["annotations"][0]["area"] == pytest.approx(inside, rel=0.02)
