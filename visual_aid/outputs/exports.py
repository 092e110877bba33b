"""The worklist as a table for other programs, and what is flagged as labels for image tools."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Sequence
from typing import Any

from visual_aid.model import SIGNS, WEARS, Outline
from visual_aid.outputs.palette import SIGN_STYLE
from visual_aid.outputs.tables import harmless
from visual_aid.records.entries import StoredCandidate, StoredPhoto, WorklistEntry

COLUMNS: tuple[tuple[str, type], ...] = (
    ("photo", str),
    ("path", str),
    ("sha256", str),
    ("taken", str),
    ("unit", str),
    ("visit", str),
    ("axle", int),
    ("side", str),
    ("component", str),
    ("stage", str),
    ("priority", float),
    ("undecided", int),
    ("weak", int),
    ("decided", int),
    ("findings", int),
    ("like", int),
    ("usable", bool),
    ("cue", str),
    ("score", float),
    ("reason", str),
)
"""Names and types of the columns; ``like`` counts the shots of a burst for which the photo stands."""


def worklist_csv(entries: Iterable[WorklistEntry]) -> bytes:
    """Give the worklist as CSV (RFC 4180) in UTF-8, marked as such for spreadsheets; no cell is a formula."""
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(name for name, _ in COLUMNS)
    writer.writerows(harmless(_row(entry)) for entry in entries)
    return text.getvalue().encode("utf-8-sig", "backslashreplace")


def worklist_xlsx(entries: Iterable[WorklistEntry]) -> bytes:
    """Give the worklist as an Office Open XML workbook; no cell is a formula or a link."""
    import xlsxwriter

    buffer = io.BytesIO()
    options = {"constant_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    with xlsxwriter.Workbook(buffer, options) as book:
        sheet = book.add_worksheet("Worklist")
        sheet.freeze_panes(1, 0)
        sheet.write_row(0, 0, [name for name, _ in COLUMNS], book.add_format({"bold": True}))
        for number, entry in enumerate(entries, 1):
            sheet.write_row(number, 0, harmless(_row(entry)))
    return buffer.getvalue()


def worklist_parquet(entries: Iterable[WorklistEntry]) -> bytes:
    """Give the worklist as an Apache Parquet file, texts as they are."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    kinds = {str: pa.string(), int: pa.int64(), float: pa.float64(), bool: pa.bool_()}
    schema = pa.schema([(name, kinds[kind]) for name, kind in COLUMNS])
    rows = [dict(zip(schema.names, _row(entry), strict=True)) for entry in entries]
    buffer = io.BytesIO()
    pq.write_table(pa.Table.from_pylist(rows, schema), buffer)
    return buffer.getvalue()


def coco_json(photos: Iterable[tuple[StoredPhoto, Sequence[StoredCandidate]]]) -> bytes:
    """Give findings and candidates in the COCO format for object detection.

    COCO counts pixels from the corner of the photo, this tool from the centre of its first pixel: all is
    shifted by half a pixel. Beside the format's own fields an annotation has ``score``, ``outcome`` (null
    where nobody has decided), ``source`` and ``reason``; programs that do not know them pass over them.
    """
    number = {sign: n for n, sign in enumerate(SIGNS, 1)}
    images: list[dict[str, Any]] = []
    annotations: list[dict[str, Any]] = []
    for photo, candidates in photos:
        info = photo.screening.photo
        image = {"id": len(images) + 1, "file_name": photo.path, "width": info.width, "height": info.height}
        images.append(image | ({"date_captured": info.taken} if info.taken else {}))
        for stored in candidates:
            body = stored.candidate
            x, y, w, h = body.box
            annotations.append(
                {
                    "id": len(annotations) + 1,
                    "image_id": image["id"],
                    "category_id": number[body.cue],
                    "bbox": [x + 0.5, y + 0.5, w, h],
                    "segmentation": [[v + 0.5 for point in body.outline for v in point]],
                    "area": _area(body.outline),
                    "iscrowd": 0,
                    "score": round(body.score, 4),
                    "outcome": stored.outcome,
                    "source": stored.source,
                    "reason": body.reason,
                }
            )
    categories = [
        {"id": n, "name": sign, "supercategory": "wear" if sign in WEARS else "loosening"}
        for sign, n in number.items()
    ]
    whole = {"images": images, "annotations": annotations, "categories": categories}
    return json.dumps(whole, ensure_ascii=False).encode(errors="backslashreplace")


def _area(outline: Outline) -> float:
    """Give the area of a polygon in square pixels (Gauss's area formula)."""
    pairs = zip(outline, (*outline[1:], *outline[:1]), strict=True)
    return abs(sum(x1 * y2 - x2 * y1 for (x1, y1), (x2, y2) in pairs)) / 2


def _row(entry: WorklistEntry) -> list[object]:
    photo, top = entry.photo, entry.top
    visit, position, info = photo.visit, photo.position, photo.screening.photo
    return [
        photo.name,
        photo.path,
        info.sha256,
        info.taken,
        None if visit is None else visit.unit,
        None if visit is None else visit.date.isoformat(),
        None if position is None else position.axle,
        None if position is None else position.side,
        None if position is None else position.component,
        entry.stage,
        round(entry.priority, 4),
        entry.undecided,
        entry.weak,
        entry.decided,
        entry.findings,
        entry.like,
        photo.screening.quality.usable,
        None if top is None else SIGN_STYLE[top.cue].label,
        None if top is None else round(top.score, 4),
        "" if top is None else top.reason,
    ]
