"""Displaced paint stripes on drawn bodies of known turn.

The bodies are drawn in space (orthographic, z towards the viewer) and tilted; a witness mark drawn in one
stroke across nut and surface is common practice, no source.
"""

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from visual_aid.evidence.scene import Scene
from visual_aid.evidence.stripe_offset import measure
from visual_aid.model import Fastener
from visual_aid.photo import Photo

R = 40.0
HEIGHT, CHAMFER = 1.2, 0.1
YELLOW, RED, WHITE = (235, 190, 30), (190, 25, 20), (240, 240, 235)


class Plate:
    """A textured plate seen at a tilt about the horizontal, on which nuts are drawn."""

    def __init__(self, tilt=0.0, paint=(70, 80, 90), size=(500, 900), seed=3):
        self.tilt = np.radians(tilt)
        rng = np.random.default_rng(seed)
        noise = cv2.GaussianBlur(rng.normal(0, 60, size).astype(np.float32), (0, 0), 2)[..., None]
        self.image = np.clip(np.array(paint, np.float32) + noise + rng.normal(0, 4, (*size, 3)), 0, 255)
        self.fasteners = []

    def project(self, centre, points):
        x, y, z = np.asarray(points, float).T
        seen = np.stack([x, y * np.cos(self.tilt) - z * np.sin(self.tilt)], axis=1)
        return np.asarray(centre) + R * seen

    def fill(self, centre, points, colour):
        corners = np.round(self.project(centre, points) * 16).astype(np.int32)
        cv2.fillPoly(self.image, [corners], colour, cv2.LINE_AA, 4)

    def stroke(self, centre, bearing, near, far, z, colour, width=0.3):
        out = np.array([np.cos(bearing), np.sin(bearing)])
        aside = width / 2 * np.array([-out[1], out[0]])
        corners = [near * out - aside, far * out - aside, far * out + aside, near * out + aside]
        self.fill(centre, [(*c, z) for c in corners], colour)

    def nut(self, x, y, bearing=None, offset=0.0, colour=YELLOW, kind="bolt_head", on_nut=True):
        """Draw a nut with its seat at (x, y); the stripe's surface part has this bearing, in degrees."""
        centre = (x, y)
        corners = np.radians(np.arange(6) * 60 + 17)
        ring = np.stack([np.cos(corners), np.sin(corners)], axis=1) * 2 / np.sqrt(3)
        if bearing is not None:
            self.stroke(centre, np.radians(bearing), 0.0, 2.3, 0.0, colour)
        for k in np.argsort(np.sin(corners + np.pi / 6)):  # flats from the far side to the near one
            a, b = ring[k], ring[(k + 1) % 6]
            quad = [(*a, 0), (*b, 0), (*b, HEIGHT), (*a, HEIGHT)]
            self.fill(centre, quad, (95.0 + 12 * k, 95.0 + 12 * k, 100.0 + 12 * k))
            turned = None if bearing is None or not on_nut else np.radians(bearing + offset)
            if turned is not None:
                out = np.array([np.cos(turned), np.sin(turned)])
                aside = 0.15 * np.array([-out[1], out[0]])
                hit = [_on_flat(out, s * aside, a, b) for s in (-1, 1)]
                if all(h is not None for h in hit):
                    low, high = hit
                    self.fill(centre, [(*low, 0), (*high, 0), (*high, HEIGHT), (*low, HEIGHT)], tuple(colour))
        self.fill(centre, [(*c, HEIGHT) for c in ring], (150.0, 150.0, 155.0))
        disc = np.radians(np.arange(0, 360, 10))
        face = [(0.95 * np.cos(t), 0.95 * np.sin(t), HEIGHT + CHAMFER) for t in disc]
        self.fill(centre, face, (160.0, 160.0, 165.0))
        if bearing is not None and on_nut:
            self.stroke(centre, np.radians(bearing + offset), 0.0, 0.95, HEIGHT + CHAMFER, colour)
        if kind != "bolt_head":
            end = [(0.6 * np.cos(t), 0.6 * np.sin(t), HEIGHT + CHAMFER) for t in disc]
            self.fill(centre, end, (110.0, 105.0, 100.0))
        top = self.project(centre, [(0, 0, HEIGHT)])[0]
        radius = R * np.sqrt(np.cos(self.tilt))
        tilt = float(np.degrees(self.tilt))
        self.fasteners.append(
            Fastener(
                len(self.fasteners) + 1,
                kind,
                *top,
                radius,
                tilt=tilt,
                tilt_axis=0.0,
                group=1,
                seat=(float(x), float(y)),
            )
        )

    def measured(self):
        pixels = np.clip(cv2.GaussianBlur(self.image, (0, 0), 0.8), 0, 255).astype(np.uint8)
        return measure(Scene.build(Photo.from_array(pixels), self.fasteners))


def _on_flat(out, aside, a, b):
    """Where the ray from ``aside`` along ``out`` meets the flat from a to b."""
    matrix = np.column_stack([out, a - b])
    if abs(np.linalg.det(matrix)) < 1e-9:
        return None
    along, share = np.linalg.solve(matrix, a - aside)
    return aside + along * out if along > 0 and 0 <= share <= 1 else None


def offset_of(plate, fastener=1):
    return next(m.measures["offset_deg"] for m in plate.measured().measurements if m.fastener.id == fastener)


@given(st.floats(0, 360), st.floats(-120, 120), st.sampled_from([YELLOW, RED, WHITE]))
@settings(derandomize=True, max_examples=25, deadline=None)
def test_head_on_the_turn_is_measured_clockwise_positive(bearing, offset, colour):
    plate = Plate()
    plate.nut(450, 250, bearing, offset, colour)
    assert offset_of(plate) == pytest.approx(offset, abs=3.0)


@given(st.floats(-20, 200), st.floats(-60, 60), st.floats(10, 38))
@settings(derandomize=True, max_examples=25, deadline=None)
def test_under_tilt_neighbours_that_line_up_tell_height_from_turn(bearing, offset, tilt):
    # One nut alone does not: under tilt a small turn and another height of the nut look the same.
    plate = Plate(tilt)
    plate.nut(170, 300, bearing)
    plate.nut(630, 300, bearing + 30)
    plate.nut(400, 300, bearing + 15, offset)
    assert offset_of(plate, 3) == pytest.approx(offset, abs=8.0)


def test_a_stripe_that_lines_up_looks_broken_under_tilt_and_measures_no_turn():
    plate = Plate(35.0)
    for k, x in enumerate((170, 400, 630)):
        plate.nut(x, 300, 10 + 25 * k)
    turns = [m.measures["offset_deg"] for m in plate.measured().measurements]
    assert len(turns) == 3
    assert np.abs(turns).max() < 4.0


def test_the_moved_nut_stands_out_of_its_row():
    plate = Plate(20.0)
    for x, offset in ((150, 0.0), (350, 28.0), (550, 0.0), (750, 0.0)):
        plate.nut(x, 260, 60, offset, RED, kind="hex_nut")
    found = {m.fastener.id: m for m in plate.measured().measurements}
    assert set(found) == {1, 2, 3, 4}
    sure = {i: abs(m.measures["offset_deg"]) / m.measures["offset_sd_deg"] for i, m in found.items()}
    assert max(sure, key=sure.get) == 2
    assert sure[2] > 3 * max(v for i, v in sure.items() if i != 2)
    in_line = {i: m.features["lines_up_plainly"] for i, m in found.items()}
    assert min(in_line, key=in_line.get) == 2
    assert "28 degrees clockwise" in found[2].reason or abs(found[2].measures["offset_deg"] - 28) < 4


def test_half_a_turn_of_a_stripe_right_across_cannot_be_told_and_counts_as_none():
    plate = Plate()
    plate.nut(450, 250, 30, 180.0)
    assert abs(offset_of(plate)) < 5


def test_paint_on_the_surface_alone_gives_no_turn():
    plate = Plate()
    plate.nut(250, 250, 40, on_nut=False)
    (only,) = plate.measured().measurements
    assert "offset_deg" not in only.measures
    assert only.features["surface_alone_plainly"] > 0.3
    assert only.features["turned_plainly"] == 0


def test_a_label_beside_the_nut_is_no_stripe():
    plate = Plate()
    plate.nut(250, 250)
    cv2.rectangle(plate.image, (320, 190), (420, 330), (235, 190, 30), -1)
    cv2.rectangle(plate.image, (120, 300), (160, 420), (190, 25, 20), -1)
    for m in plate.measured().measurements:
        assert "offset_deg" not in m.measures


def test_of_two_colours_the_one_that_lines_up_is_the_stripe():
    plate = Plate(paint=(60, 70, 80))
    for x, bearing, offset in ((200, 60, 0), (450, 80, 0), (700, 100, 35)):
        plate.nut(x, 250, bearing, offset, (150, 115, 30))
        plate.stroke((x, 250), np.radians(200 + bearing), 1.4, 2.3, 0.0, (250, 250, 250), width=0.5)
    assert offset_of(plate, 1) == pytest.approx(0, abs=4)
    assert offset_of(plate, 3) == pytest.approx(35, abs=4)


def test_a_painted_field_beside_a_stripe_is_not_taken_for_it():
    plate = Plate()
    cv2.rectangle(plate.image, (500, 190), (560, 310), YELLOW, -1)
    plate.nut(450, 250, 150, -25)
    assert offset_of(plate) == pytest.approx(-25, abs=4)


@pytest.mark.parametrize("colour", [(180, 125, 105), (170, 150, 95)], ids=["orange", "yellow"])
def test_paint_that_dust_has_paled_is_a_stripe_still(colour):
    # Chroma over lightness 0.39 and 0.43: fresh marker paint has 0.7 and more (measured on made photos).
    plate = Plate()
    plate.nut(450, 250, -60, 35.0, colour)
    assert offset_of(plate) == pytest.approx(35, abs=4)


def test_a_scrap_of_paint_in_line_does_not_make_a_turned_stripe_line_up():
    plate = Plate()
    plate.nut(450, 250, 20, 70.0)
    plate.stroke((450, 250), np.radians(20), 0.4, 0.95, HEIGHT + CHAMFER, YELLOW)
    assert offset_of(plate) == pytest.approx(70, abs=6)


def test_without_any_paint_it_stays_silent():
    plate = Plate()
    plate.nut(250, 250)
    measured = plate.measured()
    assert not measured.measurements
    assert [n.cue for n in measured.not_judged] == ["stripe_offset"]


def test_the_outline_lies_on_the_stripe():
    plate = Plate()
    plate.nut(450, 250, 0, 40.0)
    (only,) = plate.measured().measurements
    x, y = np.array(only.outline).T
    # Surface part to the right, nut part below right of the centre, within the stripe's 2.3 r.
    assert x.min() > 450 - 0.5 * R
    assert x.max() < 450 + 2.6 * R
    assert y.min() > 250 - 0.5 * R
    assert y.max() < 250 + 1.3 * R


def test_every_measurement_has_the_same_features():
    plate = Plate()
    plate.nut(200, 250, 40)
    plate.nut(450, 250, 80, 20, kind="hex_nut")
    plate.nut(700, 250, 100, on_nut=False)
    keys = {tuple(m.features) for m in plate.measured().measurements}
    assert len(keys) == 1


@pytest.mark.parametrize("fading", [0.46, 0.48, 0.5])
def test_one_faded_stripe_does_not_cost_the_photo(fading):
    grey, orange = np.array([130.0, 130.0, 130.0]), np.array([230.0, 110.0, 20.0])
    pixels = np.full((600, 900, 3), 130, np.uint8)
    for x, strength in ((250, 1.0), (650, fading)):
        colour = tuple(int(v) for v in grey + (orange - grey) * strength)
        cv2.rectangle(pixels, (x + 10, 295), (x + 100, 305), colour, -1)
    heads = [
        Fastener(i, "bolt_head", x, 300.0, 40.0, tilt=0.0, tilt_axis=0.0, seat=(x, 300.0))
        for i, x in ((1, 250.0), (2, 650.0))
    ]
    measured = measure(Scene.build(Photo.from_array(pixels), heads))
    assert {m.fastener.id for m in measured.measurements} >= {1}
    assert all(len(m.outline) > 2 for m in measured.measurements)
