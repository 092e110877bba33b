import dataclasses
import io
import os
import secrets

import numpy as np
import pytest
from PIL import Image
from sqlalchemy import create_engine

from visual_aid.model import Candidate, Fastener, NotJudged, Problem, Quality, Screening
from visual_aid.photo import read_photo_bytes
from visual_aid.records.store import Store


@pytest.fixture(scope="session")
def picture():
    """Give the bytes of small JPEGs that differ by ``seed``; options go to the encoder."""

    def draw(seed=0, size=(320, 240), format="JPEG", **options):  # noqa: A002
        width, height = size
        pixels = np.random.default_rng(seed).integers(60, 190, (height // 8, width // 8, 3), np.uint8)
        buffer = io.BytesIO()
        Image.fromarray(pixels).resize(size, Image.Resampling.BILINEAR).save(buffer, format, **options)
        return buffer.getvalue()

    return draw


@pytest.fixture(scope="session")
def screened():
    """Give a screening of a picture, made by hand, with one candidate for each (cue, score, box)."""

    def screen(data, *flags, name="IMG_0001.jpg", path="", usable=True, engine="test", **changes):
        candidates = tuple(
            Candidate(
                id=number,
                cue=cue,
                fastener=1,
                box=box,
                outline=((box[0], box[1]), (box[0] + box[2], box[1]), (box[0], box[1] + box[3])),
                score=score,
                measures={"length_r": 3.2},
                reason="rust-coloured run, 3.2 nut radii long",
            )
            for number, (cue, score, box) in enumerate(flags, 1)
        )
        problems = () if usable else (Problem("blurred", 0.31, 0.5, "blurred: hold still and take it again"),)
        screening = Screening(
            engine=engine,
            photo=read_photo_bytes(data, name, path=path).info,
            quality=Quality(usable, problems),
            fasteners=(Fastener(1, "hex_nut", 100.0, 80.0, 20.0),),
            candidates=candidates,
            not_judged=(NotJudged("clean_outlier", "fewer than three like nuts"),),
            priority=max((c.score for c in candidates), default=0.0),
        )
        return dataclasses.replace(screening, **changes)

    return screen


SERVER = os.environ.get("VISUAL_AID_TEST_POSTGRESQL")
"""URL of a PostgreSQL server on which databases can be made."""


@pytest.fixture(params=["sqlite", "postgresql"])
def database(request, tmp_path):
    """Give the URL of an empty database: an SQLite file, and one on a PostgreSQL server."""
    if request.param == "sqlite":
        yield f"sqlite:///{tmp_path / 'yard.sqlite'}"
        return
    if SERVER is None:
        pytest.skip("no PostgreSQL: VISUAL_AID_TEST_POSTGRESQL names none")
    server = create_engine(SERVER, isolation_level="AUTOCOMMIT")
    name = f"yard_{secrets.token_hex(8)}"
    with server.connect() as connection:
        connection.exec_driver_sql(f"CREATE DATABASE {name}")
    yield server.url.set(database=name).render_as_string(hide_password=False)
    with server.connect() as connection:
        connection.exec_driver_sql(f"DROP DATABASE {name} WITH (FORCE)")
    server.dispose()


@pytest.fixture
def store(database, tmp_path):
    store = Store.open(database, photos=tmp_path / "yard-photos")
    yield store
    store.close()
