"""Charts: lines where their points are."""

import numpy as np

from visual_aid.outputs.chart import HEIGHT, WIDTH, Line, draw_chart


def columns_and_rows(picture, colour):
    rows, columns = np.nonzero((np.abs(picture.astype(int) - colour) < 30).all(axis=2))
    return columns, rows


def test_a_line_rises_from_the_corner_of_noughts_to_the_corner_of_ones():
    picture = draw_chart("t", "x", "y", [Line("rising", "#ff0000", (0, 1), (0, 1))])
    assert picture.shape == (HEIGHT, WIDTH, 3)
    columns, rows = columns_and_rows(picture, (255, 0, 0))
    inside = columns < WIDTH - 390  # left of the legend
    slope, _ = np.polyfit(columns[inside], rows[inside], 1)
    assert slope < -0.9


def test_every_line_has_an_entry_in_the_legend():
    lines = [Line("one", "#ff0000", (0, 1), (0, 1)), Line("two", "#0000ff", (0, 1), (1, 0))]
    picture = draw_chart("t", "x", "y", lines)
    for colour in ((255, 0, 0), (0, 0, 255)):
        columns, _ = columns_and_rows(picture[:, WIDTH - 370 :], colour)
        assert columns.size > 100
