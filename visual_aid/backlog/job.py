"""Screen one photo of a backlog, in whichever process, on whichever machine."""

from __future__ import annotations

import hashlib
import time
from dataclasses import dataclass, replace

from visual_aid import __version__
from visual_aid.backlog.sources import PhotoFile, read_place
from visual_aid.decoder import read_photo_bytes
from visual_aid.files import printable
from visual_aid.likeness import likeness
from visual_aid.model import PhotoInfo, Quality, Screening, Trouble
from visual_aid.photo import PhotoError, check_size
from visual_aid.screening import screen_photo


@dataclass(frozen=True, slots=True)
class Job:
    """One photo file to screen, unless its content is ``known``: SHA-256 sums of files of its size."""

    file: PhotoFile
    known: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Seen:
    """What became of one photo file.

    Attributes
    ----------
    sha256 : str
        Of the file's content; empty where it could not be read.
    screening : Screening or None
        None where the content was known.
    likeness : str
        The perceptual hash; empty where the photo was not screened.
    """

    file: PhotoFile
    sha256: str
    screening: Screening | None
    likeness: str = ""

    @property
    def trouble(self) -> Trouble | None:
        """Why the photo could not be screened."""
        return None if self.screening is None else self.screening.error


def do(job: Job) -> Seen:
    """Read, hash and screen a photo file. Nothing is raised: what went wrong is in what is given back."""
    start = time.perf_counter()
    file = job.file
    name = printable(file.name)
    try:
        data = _read(file, name)
        sha256 = hashlib.sha256(data).hexdigest()
        if sha256 in job.known:
            return Seen(file, sha256, None)
        photo = read_photo_bytes(data, name, path=printable(file.url))
        screening = replace(screen_photo(photo), seconds=time.perf_counter() - start)
        return Seen(replace(file, size=len(data)), sha256, screening, likeness(photo))
    except PhotoError as refused:
        return _failed(file, refused.trouble)
    except Exception as error:  # one photo that the engine fails on must not cost the others
        why = f"{name} made the engine fail ({error!r}): report it with the photo."
        return _failed(file, Trouble("engine_failed", why))


def lost(job: Job) -> Seen:
    """Give what was seen in a job whose process ended over it."""
    name = printable(job.file.name)
    why = f"{name} ended the process that screened it: save it as a smaller JPEG and screen it again."
    return _failed(job.file, Trouble("process_died", why))


def _read(file: PhotoFile, name: str) -> bytes:
    check_size(file.size, name)
    try:
        return read_place(file.url)
    except PhotoError:
        raise
    except FileNotFoundError:
        trouble = Trouble("missing", f"{name} is not there: check the path, or whether it was moved.")
    except Exception as error:  # each file system raises what it likes
        why = getattr(error, "strerror", None) or " ".join(str(error).split()) or type(error).__name__
        trouble = Trouble("unreadable", f"{name} cannot be opened ({why}): check the file's permissions.")
    raise PhotoError(trouble)


def _failed(file: PhotoFile, trouble: Trouble) -> Seen:
    photo = PhotoInfo(printable(file.name), printable(file.url), "", 0, 0)
    return Seen(file, "", Screening(__version__, photo, Quality(usable=False), error=trouble))
