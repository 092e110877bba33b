"""Laying two photos of one joint on each other: the homography of the part's plane."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from visual_aid.measure.scale import project
from visual_aid.photo import Photo

Floats = NDArray[np.floating]
Matches = NDArray[np.int64]
"""Indices (N, 2) into the corners before and after."""
Words = NDArray[np.uint8] | NDArray[np.float32]

TILES = (8, 6)
ZOOM_STEP, ZOOMS, LEAST_CONTRAST = 1.4, 5, 10
"""Sizes that corners are looked for in, each smaller by the step, and grey levels by which they stand out."""
CORNERS_A_TILE = 60
"""Corners are taken evenly over the photo: rust alone would hold them all, and they settle a plane only
where they are spread."""
CLEARER = 0.8
"""A match counts where its descriptor is nearer than this share of the second nearest (Lowe 2004)."""
ALIKE_BITS, ALIKE_ROOTS = 64, 0.6
"""By how much descriptors of one point may differ once its place is known: bits of 256 for corners, distance
of the roots of histograms for blobs."""
BLOBS, FAINTEST = 4000, 0.015
"""Most blobs taken of a photo, and the least contrast of one, as a share of all there is (Lowe has 0.03)."""
FINE_COLOUR, BROAD_COLOUR = 1.2, 40.0
"""Standard deviations, in working pixels, of the blur that takes a camera's colour noise off, and of the one
that a place's colour is compared with: light is coloured too, but over wide areas."""
DARK = 4
"""Added to every channel, in levels of 255, so that the noise of dark places makes no colour."""
FULL_COLOUR, LEAST_COLOUR = 4.0, 0.01
"""Mean departures from the colour around that a colour picture shows, and the least that one is taken to
have: a grey photo has none."""
NEAR = 10.0
"""Working pixels around its expected place in which a point is looked for again."""
WITHIN = 4.0
"""Working pixels by which a match may miss the homography: lens distortion and parts off the plane."""
LEAST_MATCHES, LEAST_BLOBS = 12, 18
"""Clear matches on one plane. Of 785 pairs of photos of different joints none had more than 6 corners, of 500
none more than 9 blobs; but blobs see the whole of a nut, and nuts are all alike."""
PLENTY = 3
"""Times as many matches among the stronger half of the corners save the work of matching them all."""
CLEARLY_OFF = 20.0
"""Working pixels by which a match misses a plane that it does not lie on."""
ROUNDS = 3
"""Times that points are looked for again near their places, while more and more of them agree."""
LEAST_SPREAD, SPREAD_OF_MANY = 0.06, 0.025
"""Standard deviation along their short axis that the fewest matches need, and that any number needs, as a
share of the photo's width: on a line, or on one spot, they settle no plane. In between it falls with the
root of their number, as the error of a fit does."""
MOST_ZOOM = 4.0
MOST_SQUEEZE = 3.0
"""Ratio of the two singular values of the homography: from head on to a tilt of 70 degrees."""


@dataclass(frozen=True, slots=True)
class Registration:
    """How the plane of the part in one photo lies on that in another.

    Attributes
    ----------
    homography : ndarray of shape (3, 3)
        From full pixels of the 'before' photo to full pixels of the 'after' photo.
    matches : int
        How many matched points agree with it.
    """

    homography: Floats
    matches: int

    def to_after(self, x: float, y: float) -> tuple[Floats, Floats]:
        """Map a pixel to the 'after' photo; give its place (2,) and the Jacobian there (2, 2)."""
        a, b, w = self.homography @ (x, y, 1.0)
        place = np.array([a / w, b / w])
        return place, (self.homography[:2, :2] - np.outer(place, self.homography[2, :2])) / w

    def zoom(self, x: float, y: float) -> float:
        """Say how many times larger the 'after' photo shows what is there."""
        return float(np.sqrt(abs(np.linalg.det(self.to_after(x, y)[1]))))

    def away(self, x: float, y: float) -> Floats:
        """Say by what share the 'after' photo sees things smaller a pixel further off in 'before', (2,)."""
        away: Floats = self.homography[2, :2] / (self.homography[2] @ (x, y, 1.0))
        return away

    def inverse(self) -> Registration:
        """Give the way back, from 'after' to 'before'."""
        return Registration(np.linalg.inv(self.homography), self.matches)


def register(before: Photo, after: Photo) -> Registration | None:
    """Find the homography between two photos of one joint: the first of ``registrations``.

    Returns
    -------
    Registration or None
        None where the photos have too little in common to be of one joint.
    """
    return next(registrations(before, after), None)


def registrations(before: Photo, after: Photo) -> Iterator[Registration]:
    """Find homographies between two photos of one joint, each at more cost than the one before.

    Corners are matched over the whole photos and a plane is fitted; with the plane known, every corner is
    looked for again near its expected place, which settles the plane more finely. It may be another part's:
    then the next plane has what is left. Corners may have too little in common, as after a change of light.
    Blobs with histograms of gradients cost more: of the surface's colour, on which shade and light from
    elsewhere leave no edge, and of its brightness; planes that more of them agree on come first.

    References
    ----------
    Rublee et al., ICCV 2011 (corners); Lowe, IJCV 2004 (blobs); Arandjelovic and Zisserman, CVPR 2012
    (roots of histograms); Barath et al., CVPR 2020 (robust fit). From memory.
    """
    yield from _planes(before, after, _corners, LEAST_MATCHES)
    either = (_planes(before, after, blobs, LEAST_BLOBS) for blobs in (_colour_blobs, _blobs))
    yield from sorted(itertools.chain(*either), key=lambda laid: -laid.matches)


def _planes(
    before: Photo, after: Photo, points: Callable[[Photo], _Points | None], least: int
) -> Iterator[Registration]:
    """Lay the photos by the plane that most clear matches lie on, then by those that the others lie on."""
    a, b = points(before), points(after)
    if a is None or b is None:
        return
    fit = _plausible_fit(a, b, _clear_matches(a.sample, b.sample), before, PLENTY * least, LEAST_SPREAD)
    left = None if fit else _clear_matches(a, b)
    if left is not None:
        fit = _plausible_fit(a, b, left, before, least, SPREAD_OF_MANY)
    to_full = [to_full_pixels(photo.scale) for photo in (before, after)]
    while fit:
        homography, matches = _closer(a, b, fit)
        yield Registration(to_full[1] @ homography @ np.linalg.inv(to_full[0]), len(matches))
        left = _clear_matches(a, b) if left is None else left
        for on in (fit[0], homography):
            left = left[_off(a, b, left, on) > CLEARLY_OFF]
        fit = _plausible_fit(a, b, left, before, least, SPREAD_OF_MANY)


@dataclass(frozen=True, slots=True)
class _Points:
    """Places (N, 2) in working pixels, their descriptors, and how these are compared.

    ``alike`` is the distance by ``norm`` under which two descriptors may be of one point. The first
    ``sampled`` of them are spread over the photo as all are.
    """

    places: Floats
    words: Words
    norm: int
    alike: float
    sampled: int = 0

    @property
    def sample(self) -> _Points:
        """The first of them."""
        return replace(self, places=self.places[: self.sampled], words=self.words[: self.sampled])


def _corners(photo: Photo) -> _Points | None:
    grey = cv2.cvtColor(photo.working, cv2.COLOR_RGB2GRAY)
    finder = cv2.ORB.create(10000, scaleFactor=ZOOM_STEP, nlevels=ZOOMS, fastThreshold=LEAST_CONTRAST)
    keys = finder.detect(grey, None)
    if not keys:
        return None
    places = _places(keys)
    columns, rows = (places * TILES / (grey.shape[1], grey.shape[0])).astype(int).T
    tile = columns + TILES[0] * rows
    order = np.lexsort((-np.array([k.response for k in keys]), tile))
    rank = np.arange(len(order)) - np.searchsorted(tile[order], tile[order])
    strongest = order[np.argsort(rank, kind="stable")][: np.count_nonzero(rank < CORNERS_A_TILE)]
    keys, words = finder.compute(grey, [keys[i] for i in strongest])
    if not keys:
        return None
    described = np.asarray(words, np.uint8)
    return _Points(_places(keys), described, cv2.NORM_HAMMING, ALIKE_BITS, sampled=len(keys) // 2)


def _blobs(photo: Photo) -> _Points | None:
    return _blobs_of(np.asarray(cv2.cvtColor(photo.working, cv2.COLOR_RGB2GRAY), np.uint8))


def _colour_blobs(photo: Photo) -> _Points | None:
    return _blobs_of(redness(photo.working))


def redness(rgb: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Show how much redder each place is than what lies around it, whatever light falls on it.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (H, W, 3)
        sRGB.

    Returns
    -------
    ndarray of uint8, shape (H, W)
        Logarithm of red over the geometric mean of green and blue, less its broad mean; 127 is no difference.
    """
    red, green, blue = np.moveaxis(np.log(rgb.astype(np.float32) + DARK), -1, 0)
    colour = cv2.GaussianBlur(red - (green + blue) / 2, (0, 0), FINE_COLOUR)
    colour = colour - cv2.GaussianBlur(colour, (0, 0), BROAD_COLOUR)
    full = FULL_COLOUR * max(float(np.abs(colour).mean()), LEAST_COLOUR)
    return np.asarray(np.clip(127 + 127 / full * colour, 0, 255), np.uint8)


def _blobs_of(picture: NDArray[np.uint8]) -> _Points | None:
    keys, words = cv2.SIFT.create(BLOBS, contrastThreshold=FAINTEST).detectAndCompute(picture, None)
    if not keys:
        return None
    roots = np.sqrt(words / np.maximum(words.sum(axis=1, keepdims=True), 1e-6)).astype(np.float32)
    return _Points(_places(keys), roots, cv2.NORM_L2, ALIKE_ROOTS)


def _places(keys: Sequence[cv2.KeyPoint]) -> Floats:
    return np.asarray(cv2.KeyPoint.convert(keys), float)


def _plausible_fit(
    a: _Points, b: _Points, matches: Matches, before: Photo, least: int, spread: float
) -> tuple[Floats, Matches] | None:
    """Fit a homography and give it with the matches that agree, where they are enough and it may be."""
    fit = _fit(a, b, matches)
    if fit is None or len(fit[1]) < least:
        return None
    here, there = fit[1].T
    return fit if _plausible(fit[0], a.places[here], b.places[there], before, spread) else None


def _closer(a: _Points, b: _Points, fit: tuple[Floats, Matches]) -> tuple[Floats, Matches]:
    """Look for all points again near their expected places, while more and more of them agree."""
    for _ in range(ROUNDS):
        closer = _fit(a, b, _near_matches(a, b, fit[0]))
        if closer is None or len(closer[1]) <= len(fit[1]):
            break
        fit = closer
    return fit


def _off(a: _Points, b: _Points, matches: Matches, homography: Floats) -> Floats:
    """Say how far matches miss a homography, in working pixels."""
    expected = project(homography, a.places[matches[:, 0]])
    return np.asarray(np.linalg.norm(expected - b.places[matches[:, 1]], axis=1))


def _clear_matches(a: _Points, b: _Points) -> Matches:
    if min(len(a.words), len(b.words)) < 2:
        return np.zeros((0, 2), int)
    unlike, index = cv2.batchDistance(a.words, b.words, -1, normType=a.norm, K=2)
    clear = np.flatnonzero(unlike[:, 0] < CLEARER * unlike[:, 1])
    nearest = clear[np.argsort(unlike[clear, 0], kind="stable")]
    return _first_of_each(np.column_stack([nearest, index[nearest, 0]]), 1)


def _near_matches(a: _Points, b: _Points, homography: Floats) -> Matches:
    expected = project(homography, a.places)
    near = KDTree(expected).sparse_distance_matrix(KDTree(b.places), NEAR, output_type="ndarray")
    unlike = _unlike(a.words[near["i"]], b.words[near["j"]])
    nearest = np.argsort(unlike, kind="stable")[: np.count_nonzero(unlike < a.alike)]
    matches = np.column_stack([near["i"], near["j"]])[nearest]
    return _first_of_each(_first_of_each(matches, 0), 1)


def _unlike(some: Words, others: Words) -> Floats:
    """Say how far each descriptor is from the other one: differing bits, or Euclidean distance."""
    if some.dtype == np.uint8:
        return np.asarray(np.unpackbits(np.bitwise_xor(some, others), axis=1).sum(axis=1), float)
    return np.asarray(np.linalg.norm(some - others, axis=1), float)


def _first_of_each(matches: Matches, side: int) -> Matches:
    """Let every point of one photo, 0 or 1, answer for the first of its matches only."""
    return matches[np.sort(np.unique(matches[:, side], return_index=True)[1])]


def _fit(a: _Points, b: _Points, matches: Matches) -> tuple[Floats, Matches] | None:
    """Fit a homography and give it with the matches that agree."""
    if len(matches) < LEAST_MATCHES:
        return None
    homography, agree = cv2.findHomography(
        a.places[matches[:, 0]],
        b.places[matches[:, 1]],
        cv2.USAC_MAGSAC,
        WITHIN,
        maxIters=5000,
        confidence=0.999,
    )
    return None if homography is None else (np.asarray(homography, float), matches[agree.ravel() > 0])


def to_full_pixels(scale: float) -> Floats:
    """Give the matrix from working to full pixels; whole numbers are pixel centres in both."""
    return np.array([[scale, 0, (scale - 1) / 2], [0, scale, (scale - 1) / 2], [0, 0, 1]])


def _plausible(homography: Floats, here: Floats, there: Floats, before: Photo, spread: float) -> bool:
    """Tell whether a camera that moved around a part could have made this homography.

    ``spread`` is what any number of places needs, as a share of the photo's width.
    """
    least = max(spread, LEAST_SPREAD * (LEAST_MATCHES / len(here)) ** 0.5) * before.working.shape[1]
    for points in (here, there):
        if np.sqrt(max(np.linalg.eigvalsh(np.cov(points.T))[0], 0.0)) < least:
            return False
    rows = np.column_stack([here, np.ones(len(here))]) @ homography.T
    if rows[:, 2].min() * rows[:, 2].max() <= 0:
        return False
    sized = Registration(homography, 0)
    for x, y in here[:: max(1, len(here) // 20)]:
        _, jacobian = sized.to_after(x, y)
        long, short = np.linalg.svd(jacobian, compute_uv=False)
        zoom = np.sqrt(long * short)
        if np.linalg.det(jacobian) <= 0 or not 1 / MOST_ZOOM < zoom < MOST_ZOOM:
            return False
        if long > MOST_SQUEEZE * short:
            return False
    return True
