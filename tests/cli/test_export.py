"""A shop's own decisions as labelled cases, from the records to the evaluation and the training."""

from contextlib import closing

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import ExifTags, Image

from visual_aid.cli import main
from visual_aid.evaluation.truth import read_truths
from visual_aid.photo import read_photo
from visual_aid.records.store import Store
from visual_aid.training.cues import collect


def run(*arguments):
    return CliRunner().invoke(main, [str(a) for a in arguments])


@pytest.fixture
def decided(tmp_path, yard, nut_photo):
    """Give records of three photos: rust marked on one, a mark ruled out on another, one left alone."""
    photo = yard / "told.jpg"
    nut_photo(photo, 5)
    exif = Image.Exif()
    exif[ExifTags.Base.Artist] = "Yard owner"
    exif.get_ifd(ExifTags.IFD.GPSInfo)[ExifTags.GPS.GPSLatitudeRef] = "N"
    exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.BodySerialNumber] = "SN-0815"
    with Image.open(photo) as image:
        image.save(photo, "JPEG", exif=exif)
    store = tmp_path / "yard.sqlite"
    assert run("screen", photo, yard / "b.png", yard / "c.jpg", "--store", store).exit_code == 0
    with closing(Store.open(store)) as records:
        ids = {e.photo.name: e.photo.id for e in records.worklist()}
        records.mark(ids["told.jpg"], "rust_trail", (90.0, 200.0, 40.0, 100.0), by="Mo")
        ruled_out = records.mark(ids["b.png"], "gap", (350.0, 200.0, 40.0, 20.0), by="Mo")
        records.decide(ruled_out.id, "ruled_out", by="Mo")
        records.gallery.blur(ids["told.jpg"], [(300.0, 0.0, 100.0, 60.0)], by="Mo")
    return store


def test_decisions_become_labels_that_the_evaluation_and_the_training_read(decided, tmp_path):
    folder = tmp_path / "cases"
    result = run("export", folder, "--store", decided)
    assert result.exit_code == 0, result.output
    assert "photos 2, evidence 1, look-alikes 1" in result.output
    truths = read_truths(folder)
    assert sorted(c.cue for t in truths for f in t.fasteners for c in f.cues) == ["rust_trail"]
    # Nobody has said how plain it is.
    assert [c.grade for t in truths for f in t.fasteners for c in f.cues] == [None]
    assert [d.type for t in truths for d in t.look_alikes] == ["gap"]

    result = run("evaluate", folder, "--json", tmp_path / "figures.json")
    assert result.exit_code == 0, result.output
    assert "2 photos, 0 without a record, 0 failed" in result.output
    assert "Look-alikes: 1 labelled" in result.output

    examples = collect(truths)["rust_trail"]
    assert examples.stands.any()
    assert not examples.stands.all()


def test_the_records_are_read_a_few_at_a_time(decided, tmp_path, monkeypatch):
    read, most = Store.worklist, []

    def watched(store, *about, **more):
        some = read(store, *about, **more)
        most.append(len(some))
        return some

    monkeypatch.setattr(Store, "worklist", watched)
    monkeypatch.setattr("visual_aid.records.store.READ_AT_A_TIME", 1)
    assert "photos 2," in run("export", tmp_path / "cases", "--store", decided).output
    assert most == [1, 1, 1, 0]


def test_the_photos_tell_nothing_but_what_they_show(decided, tmp_path, yard):
    folder = tmp_path / "cases"
    run("export", folder, "--store", decided)
    (marked,) = (t for t in read_truths(folder) if any(f.cues for f in t.fasteners))
    data = marked.path.read_bytes()
    assert not any(secret in data for secret in (b"Yard owner", b"SN-0815", b"told.jpg"))
    with Image.open(marked.path) as image:
        assert not image.getexif()
        assert not {"exif", "xmp", "comment"} & set(image.info)
    before, after = (read_photo(p).full[0:60, 300:400].astype(int) for p in (yard / "told.jpg", marked.path))
    assert np.abs(np.diff(after, axis=1)).max() < np.abs(np.diff(before, axis=1)).max() / 2


def test_a_photo_that_is_gone_costs_itself_alone(decided, tmp_path, yard):
    (yard / "b.png").unlink()
    result = run("export", tmp_path / "cases", "--store", decided)
    assert result.exit_code == 1
    assert "b.png is left out" in result.output
    assert len(read_truths(tmp_path / "cases")) == 1


def test_nothing_is_mixed_with_what_is_there_and_nothing_made_of_nothing(decided, tmp_path, yard):
    result = run("export", yard, "--store", decided)
    assert result.exit_code == 2
    assert "is not empty" in result.output
    run("screen", yard / "c.jpg", "--store", tmp_path / "fresh.sqlite")
    result = run("export", tmp_path / "cases", "--store", tmp_path / "fresh.sqlite")
    assert result.exit_code == 2
    assert "nothing is decided yet" in result.output
    assert not (tmp_path / "cases").exists()
    assert "no records there" in run("export", tmp_path / "x", "--store", tmp_path / "no.sqlite").output
