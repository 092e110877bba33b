"""Contact sheets: cut-outs of the right place."""

import numpy as np

from visual_aid.outputs.sheet import AROUND, COLUMNS, TILE, Tile, draw_sheet


def tile(pixels, box):
    return Tile(pixels, box, "#00ff00", "a caption")


def test_a_cut_out_is_centred_on_its_box():
    pixels = np.full((400, 600, 3), 50, np.uint8)
    pixels[100:140, 200:240] = (250, 0, 0)
    sheet = draw_sheet([("Heading", [tile(pixels, (200, 100, 40, 40))])]).astype(int)
    rows, columns = np.nonzero((sheet[:, :TILE, 0] > 200) & (sheet[:, :TILE, 1] < 60))
    side = TILE / (1 + 2 * AROUND)
    # The frame's lines, two pixels wide, lie inside the box.
    assert abs(np.ptp(columns) + 1 - (side - 4)) <= 3
    assert abs(np.ptp(rows) + 1 - (side - 4)) <= 3
    assert abs(columns.mean() - (10 + TILE / 2)) <= 2


def test_sections_fill_rows_of_tiles():
    pixels = np.zeros((50, 50, 3), np.uint8)
    one_row = draw_sheet([("A", [tile(pixels, (0, 0, 9, 9))] * COLUMNS), ("B", [])])
    two_rows = draw_sheet([("A", [tile(pixels, (0, 0, 9, 9))] * (COLUMNS + 1)), ("B", [])])
    assert two_rows.shape[1] == one_row.shape[1]
    assert two_rows.shape[0] - one_row.shape[0] >= TILE
