"""What a camera wrote into a photo's file beside the pixels (EXIF 2.32)."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from PIL import ExifTags, Image


@dataclass(frozen=True, slots=True)
class Capture:
    """What the camera wrote down about the moment of the photo, kept apart from the pixels.

    Attributes
    ----------
    taken : str or None
        Local camera time, ISO 8601 to the second.
    camera : str
        Make and model as the camera names itself; empty if unknown. Serial numbers are not read.
    position : tuple of float, or None
        Latitude and longitude in degrees, north and east positive.
    """

    taken: str | None = None
    camera: str = ""
    position: tuple[float, float] | None = None


def orientation(image: Image.Image) -> int:
    """Give the EXIF orientation, 1 where it is missing or is none of 1 to 8."""
    try:
        value = image.getexif().get(ExifTags.Base.Orientation, 1)
    except Exception:  # EXIF is written by anything; what cannot be read counts as missing
        return 1
    return value if isinstance(value, int) and 1 <= value <= 8 else 1


def capture(image: Image.Image) -> Capture:
    """Read what the camera wrote down; what is missing or cannot be read is left out."""
    try:
        exif = image.getexif()
        details = exif.get_ifd(ExifTags.IFD.Exif)
        gps = exif.get_ifd(ExifTags.IFD.GPSInfo)
        return Capture(
            taken=_taken(
                details.get(ExifTags.Base.DateTimeOriginal),
                details.get(ExifTags.Base.DateTimeDigitized),
                exif.get(ExifTags.Base.DateTime),
            ),
            camera=_text(exif.get(ExifTags.Base.Make), exif.get(ExifTags.Base.Model)),
            position=_position(gps),
        )
    except Exception:  # EXIF is written by anything; what cannot be read counts as missing
        return Capture()


def _taken(*stamps: object) -> str | None:
    """Give the first stamp that is a date (EXIF 2.32: 'YYYY:MM:DD HH:MM:SS'), as ISO 8601."""
    for stamp in stamps:
        text = _text(stamp)
        try:
            return datetime.strptime(text, "%Y:%m:%d %H:%M:%S").isoformat()
        except ValueError:
            continue
    return None


def _text(*values: object) -> str:
    """Join text values into one printable line of at most 100 characters."""
    texts = [v.decode("latin-1") if isinstance(v, bytes) else v for v in values]
    line = " ".join(t.split("\0")[0].strip() for t in texts if isinstance(t, str))
    return "".join(c for c in line if c.isprintable()).strip()[:100]


def _position(gps: dict[int, object]) -> tuple[float, float] | None:
    """Give latitude and longitude in degrees; None without a fix, which some cameras write as 0, 0."""
    latitude = _degrees(gps.get(ExifTags.GPS.GPSLatitude), gps.get(ExifTags.GPS.GPSLatitudeRef), "NS", 90.0)
    longitude = _degrees(
        gps.get(ExifTags.GPS.GPSLongitude), gps.get(ExifTags.GPS.GPSLongitudeRef), "EW", 180.0
    )
    if latitude is None or longitude is None or (latitude, longitude) == (0.0, 0.0):
        return None
    return latitude, longitude


def _degrees(value: object, reference: object, directions: str, limit: float) -> float | None:
    side = _text(reference)
    if not isinstance(value, tuple) or len(value) != 3 or side not in tuple(directions):
        return None
    degrees, minutes, seconds = (float(v) for v in value)
    angle = degrees + minutes / 60 + seconds / 3600
    if not 0.0 <= angle <= limit:  # false for not-a-number, too
        return None
    return angle if side == directions[0] else -angle
