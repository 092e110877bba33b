"""Movement: how far a part went between a photo of it pushed and one of it pulled.

The second photo is laid on the first by the surroundings, which stand still, and corners on the part are
followed. What the surroundings seem to move near the part is taken off: it is the camera's doing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from visual_aid.measure.laying import register
from visual_aid.measure.measurement import CannotMeasure, Figure, Found, Limit, Mark, View
from visual_aid.measure.scale import Floats, Scale, project
from visual_aid.measure.scale_card import paper_of

LIMIT = Limit("movement_mm", 3.2, "1/8 in (3.2 mm) at a torque-rod end at most", "common practice, no source")
AROUND = 1.5
"""How far the surroundings reach beyond the box, as a share of its sides."""
CORNERS = 300
LEAST_CORNERS = 8
WINDOW = 21
"""Side in pixels of what is followed of each corner."""
GROWTHS = 12
EVEN = 12.0
"""Pixels over which light is evened out: wider than what is followed of a corner."""
FOLLOWED = 0.12
"""Pixels by which a followed corner errs at least."""
UNSURE = 1.2
"""Pixels of doubt beyond which the fit is not asked whether a corner lies in its plane."""
LAID = 0.2
"""Pixels by which the two photos may be laid wrongly at the part: tuned on made pictures."""
ODDS = 0.35
"""Share of the distance between two ways of standing still that counts as doubt: tuned on made pictures."""
BESIDE = 0.06
"""Millimetres of movement that two photos by hand may feign where the card lies some millimetres before or
behind the part: 2 degrees at 2 mm."""
DEPTH = 0.35
"""Millimetres of movement that two photos by hand may feign where the surroundings, some centimetres deeper,
have to stand for the part's plane: 2 degrees at 10 mm."""
CORE = 0.6
"""Share of the box within which the part surely lies: what is followed there says which corners are its."""
RETURN = 0.5
"""Pixels by which a corner that is followed there and back may miss itself."""

Grey = NDArray[Any]


def measure(views: Sequence[View]) -> Found:
    """Measure the movement of a boxed part between two photos.

    Raises
    ------
    CannotMeasure
        The photos do not show the same place, or too little on the part can be followed.
    """
    pushed, pulled = views
    laid, by_card = _laid(pushed, pulled)
    x, y, w, h = pushed.box
    corners = np.array([(x - AROUND * w, y - AROUND * h), (x + (1 + AROUND) * w, y + (1 + AROUND) * h)])
    if by_card is not None:
        corners = np.concatenate([corners, by_card])
    left, top = np.maximum(corners.min(axis=0), 0).astype(int)
    right, bottom = np.minimum(
        corners.max(axis=0), (pushed.photo.info.width, pushed.photo.info.height)
    ).astype(int)
    first = _evened(
        cv2.cvtColor(np.ascontiguousarray(pushed.photo.full[top:bottom, left:right]), cv2.COLOR_RGB2GRAY)
    )
    second = _evened(
        cv2.warpPerspective(
            cv2.cvtColor(pulled.photo.full, cv2.COLOR_RGB2GRAY),
            laid @ np.array([[1, 0, left], [0, 1, top], [0, 0, 1.0]]),
            (int(right - left), int(bottom - top)),
            flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP,
        )
    )
    boxed = np.zeros(first.shape, np.uint8)
    ends = (int(x - left), int(y - top)), (int(x + w - left), int(y + h - top))
    cv2.rectangle(boxed, *ends, 255, cv2.FILLED)
    outside = 255 - cv2.dilate(boxed, np.ones((WINDOW, WINDOW), np.uint8))
    corner = np.array([left, top], float)
    still, still_shift = _followed(first, second, outside)
    part, part_shift = _followed(first, second, _on_part(pushed, corner, first.shape))
    if len(part) < LEAST_CORNERS:
        raise CannotMeasure("too little on the part can be followed: light it better, or mark it with chalk")
    if len(still) < LEAST_CORNERS:
        raise CannotMeasure(
            "too little stands still around the part: take in more of the frame or axle beside it"
        )
    # The card lies in the part's plane; the rest of the surroundings may lie deeper, and a hand that holds
    # the camera moves it against them.
    surely = _together(still_shift, 4.0) if by_card is None else _within(by_card - corner, still)
    if surely.sum() < LEAST_CORNERS:
        raise CannotMeasure(
            "too little of the card can be followed: leave it out of the box, and uncovered in both photos"
        )
    drift, drift_error = _drift(still, still_shift, surely, part)
    if by_card is not None:
        drift_error = math.hypot(drift_error, _at_odds(pushed, pulled, laid, part + corner, drift))
    off = (part + corner - pushed.middle) / np.array([w / 2, h / 2])
    kept = _together(part_shift - drift, votes=np.exp(-((off / CORE) ** 2).sum(axis=1)))
    if kept.sum() < LEAST_CORNERS:
        raise CannotMeasure("the corners on the part do not move together: box one part only")
    moved = np.median((part_shift - drift)[kept], axis=0)
    spread = 1.4826 * np.median(np.abs((part_shift - drift)[kept] - moved), axis=0)
    noise = math.hypot(float(np.hypot(*spread)) / math.sqrt(kept.sum() / 4), drift_error, LAID)
    return _found(pushed, part[kept] + (left, top), moved, noise, by_card is not None)


def _found(view: View, at: Floats, moved: Floats, noise: float, by_card: bool) -> Found:
    """Say the movement ``moved`` (pixels) of the points ``at``, in millimetres where they are known."""
    middle = at.mean(axis=0)
    ends = np.array([middle, middle + moved])
    marks = (Mark("moved", tuple((float(px), float(py)) for px, py in ends), closed=False),)
    pixels = float(np.hypot(*moved))
    bearing = math.degrees(math.atan2(moved[1], moved[0])) % 360
    if view.scale is None:
        return Found(
            f"the part moved by {pixels:.1f} pixels, give or take {noise:.1f}; without a scale its "
            f"millimetres are not known ({view.why_no_scale})",
            (Figure("movement_px", pixels, noise), Figure("direction_deg", bearing)),
            marks,
        )
    a, b = view.scale.to_mm(ends)
    mm = b - a
    value = float(np.hypot(*mm))
    per_px = view.scale.mm_per_px((middle[0], middle[1]))
    error = math.hypot(noise * per_px, value * _relative(view.scale, middle), BESIDE if by_card else DEPTH)
    direction = view.scale.jacobian((middle[0], middle[1]))
    along = np.linalg.inv(direction) @ mm
    return Found(
        f"the part moved by {value:.2f} mm, give or take {error:.2f}, towards "
        f"{math.degrees(math.atan2(along[1], along[0])) % 360:.0f} degrees (0 is to the right, 90 down), "
        f"followed on {len(at)} corners against what stands still; only movement along the photo's plane is "
        "seen",
        (
            Figure("movement_mm", value, error),
            Figure("movement_px", pixels, noise),
            Figure("direction_deg", bearing),
        ),
        marks,
        LIMIT,
    )


def _relative(scale: Scale, at: Floats) -> float:
    value, error = scale.length((at[0] - 50, at[1]), (at[0] + 50, at[1]), 0.0)
    return error / value


def _laid(pushed: View, pulled: View) -> tuple[Floats, Floats | None]:
    """Lay the first photo on the second by what stands still, or by the card where that is too little.

    Returns
    -------
    homography : ndarray of shape (3, 3)
        Full pixels of the first photo to those of the second.
    outline : ndarray of shape (4, 2), or None
        The card in the first photo, if it is in both.
    """
    first, second = pushed.scale, pulled.scale
    outline = None if second is None or second.outline is None or first is None else first.outline
    found = register(pushed.photo, pulled.photo)
    if found is not None:
        return np.asarray(found.homography, float), outline
    if outline is not None and first is not None and second is not None:
        return second.to_px @ np.linalg.inv(first.to_px), outline
    raise CannotMeasure(
        "the two photos have too little in common: take both from the same place, with the card or the "
        "frame in both"
    )


def _at_odds(pushed: View, pulled: View, laid: Floats, at: Floats, drift: Floats) -> float:
    """Give the pixels of doubt that two ways of standing still leave: what was followed, and the card.

    The first reaches from the card to the part as a straight line would, the second as a plane does, but
    from the card's edges alone.
    """
    assert pushed.scale is not None
    assert pulled.scale is not None
    by_planes = project(pulled.scale.to_px @ np.linalg.inv(pushed.scale.to_px), at)
    apart = project(np.linalg.inv(laid), by_planes) - at - drift
    return ODDS * float(np.hypot(*np.median(apart, axis=0)))


def _evened(grey: Grey) -> Grey:
    """Even out light and shadow, which fall otherwise in the other photo: what is followed looks alike."""
    tone = np.log(grey.astype(np.float32) + 8.0)
    detail = tone - cv2.GaussianBlur(tone, (0, 0), EVEN)
    return np.asarray((128 + 120 * detail).clip(0, 255), np.uint8)


def _followed(first: Grey, second: Grey, where: Grey) -> tuple[Floats, Floats]:
    """Follow corners from the first picture to the second and back; give places (N, 2) and shifts (N, 2)."""
    corners: NDArray[Any] | None = cv2.goodFeaturesToTrack(first, CORNERS, 0.01, 6, mask=where, blockSize=5)
    if corners is None:
        return np.empty((0, 2)), np.empty((0, 2))
    window = WINDOW, WINDOW
    guess: NDArray[Any] = corners.copy()
    there, ok, _ = cv2.calcOpticalFlowPyrLK(first, second, corners, guess, winSize=window, maxLevel=3)
    back, again, _ = cv2.calcOpticalFlowPyrLK(second, first, there, guess.copy(), winSize=window, maxLevel=3)
    start, end, home = (p.reshape(-1, 2).astype(float) for p in (corners, there, back))
    good = (ok.ravel() > 0) & (again.ravel() > 0) & (np.hypot(*(home - start).T) < RETURN)
    return start[good], (end - start)[good]


def _drift(still: Floats, shift: Floats, surely: NDArray[np.bool_], at: Floats) -> tuple[Floats, float]:
    """Say what the plane of the part seems to move at some places: a camera's doing.

    Shifts are fitted as linear in the place. The fit starts from what surely lies in that plane and takes
    in what agrees with it, from near to far, so that it need not reach beyond what it stands on.

    Returns
    -------
    drift : ndarray of shape (N, 2)
        Pixels, at the places ``at``.
    error : float
        Pixels by which it may be off at their middle.
    """
    middle, reach = still[surely].mean(axis=0), max(float(still[surely].std()), 1.0)

    def rows(points: Floats) -> Floats:
        return np.column_stack([np.ones(len(points)), (points - middle) / reach])

    kept = surely
    everywhere, there = rows(still), rows(at)
    for _ in range(GROWTHS):
        fit = np.linalg.lstsq(everywhere[kept], shift[kept], rcond=None)[0]
        miss = np.hypot(*(shift - everywhere @ fit).T)
        spread = max(1.4826 * float(np.median(miss[kept])), FOLLOWED)
        # Neighbouring corners err alike: one in four counts.
        inverse = np.linalg.pinv(everywhere[kept].T @ everywhere[kept] / 4)
        doubt = spread * np.sqrt(np.einsum("ij,jk,ik->i", everywhere, inverse, everywhere))
        now = (miss < 3 * np.hypot(spread, doubt)) & (doubt < UNSURE)
        if now.sum() < LEAST_CORNERS or (now == kept).all():
            break
        kept = now
    average = there.mean(axis=0)
    return there @ fit, spread * math.sqrt(2 * float(average @ inverse @ average))


def _within(outline: Floats, points: Floats) -> NDArray[np.bool_]:
    edge = np.asarray(outline, np.float32)
    return np.array([cv2.pointPolygonTest(edge, (float(x), float(y)), True) > -3 for x, y in points], bool)


def _on_part(view: View, corner: Floats, shape: Sequence[int]) -> Grey:
    """Mark where the boxed part may show: not in the box's corners, nor on the card."""
    _, _, w, h = view.box
    where = np.zeros(shape, np.uint8)
    middle = np.array(view.middle) - corner
    cv2.ellipse(where, (middle.tolist(), (w, h), 0.0), 255, -1)
    paper = None if view.scale is None else paper_of(view.scale)
    if paper is not None:
        # What is followed there is followed with a window around it.
        hidden = np.zeros(shape, np.uint8)
        cv2.fillConvexPoly(hidden, np.round(paper - corner).astype(np.int32), 255)
        where[cv2.dilate(hidden, np.ones((WINDOW, WINDOW), np.uint8)) > 0] = 0
    return where


def _together(shift: Floats, within: float = 1.5, votes: Floats | None = None) -> NDArray[np.bool_]:
    """Mark the shifts of the largest group that move alike, to some pixels; each may have its own weight."""
    apart = np.hypot(*(shift[:, None] - shift[None]).transpose(2, 0, 1))
    near = apart < within
    size = near.sum(axis=1) if votes is None else near @ votes
    kept: NDArray[np.bool_] = near[int(size.argmax())]
    return kept
