"""Pictures that appear in a folder come into the visit that is open then, and into no other."""

import io
import os
from datetime import datetime, timedelta

import numpy as np
import pytest
from PIL import Image
from ui_support import page, words

from digitise.errors import PhotoError
from ui import draft as drafts
from ui import text
from ui.components import watching
from ui.watching import Watch


def picture(taken=None, seed=1):
    noise = np.random.default_rng(seed).integers(0, 255, (24, 32, 3), dtype=np.uint8)
    exif = Image.Exif()
    exif.get_ifd(0x8825).update({27: b"GPSMETHOD"})
    if taken is not None:
        exif.get_ifd(0x8769)[0x9003] = f"{taken:%Y:%m:%d %H:%M:%S}"
    file = io.BytesIO()
    Image.fromarray(noise).resize((640, 480)).save(file, "JPEG", exif=exif)
    return file.getvalue()


@pytest.fixture
def clock():
    return [100.0]


@pytest.fixture
def watch(tmp_path, clock):
    folder = tmp_path / "from the phone"
    folder.mkdir()
    (folder / "yesterday.jpg").write_bytes(picture())
    found = Watch(folder, clock=lambda: clock[0])
    found.turn_to("A")
    return found


def names(found):
    return [one.path.name for one in found]


def test_a_new_picture_is_taken_once_and_when_it_is_whole(watch, clock):
    assert not watch.has_new("A")
    new = watch.folder / "IMG_1.JPG"
    new.write_bytes(picture()[:2000])
    assert not watch.has_new("A")
    clock[0] += 0.5
    new.write_bytes(picture())
    for passed in (0.0, 0.9):
        clock[0] += passed
        assert not watch.has_new("A")
    clock[0] += 0.2
    assert watch.has_new("A")
    assert names(watch.take("A")) == ["IMG_1.JPG"]
    assert not watch.has_new("A")
    assert not watch.take("A")
    # the same name again: another picture
    new.write_bytes(picture(seed=2))
    os.utime(new, ns=(1, 1))
    assert not watch.take("A")
    clock[0] += 1.1
    assert names(watch.take("A")) == ["IMG_1.JPG"]


def test_only_pictures_and_no_links_and_nothing_hidden_or_huge(watch, clock, tmp_path):
    outside = tmp_path / "outside.jpg"
    outside.write_bytes(picture())
    (watch.folder / "link.jpg").symlink_to(outside)
    (watch.folder / ".IMG_2.jpg").write_bytes(picture())
    (watch.folder / "IMG_3.jpg.part").write_bytes(picture())
    (watch.folder / "notes.txt").write_text("K-017")
    (watch.folder / "empty.jpg").touch()
    (watch.folder / "folder.jpg").mkdir()
    with (watch.folder / "huge.jpg").open("wb") as file:
        file.truncate(61 * 2**20)
    (watch.folder / "good.heic").write_bytes(picture())
    watch.has_new("A")
    clock[0] += 2
    assert names(watch.take("A")) == ["good.heic"]


def test_what_came_during_one_visit_never_comes_into_the_next(watch, clock):
    (watch.folder / "of-a.jpg").write_bytes(picture())
    watch.has_new("A")
    clock[0] += 2
    watch.turn_to("B")
    assert not watch.has_new("B")
    (watch.folder / "of-b.jpg").write_bytes(picture(seed=2))
    watch.has_new("B")
    clock[0] += 2
    assert not watch.has_new("A")  # another tab that shows the visit before
    assert not watch.take("A")
    assert names(watch.take("B")) == ["of-b.jpg"]
    watch.turn_to("A")
    clock[0] += 2
    assert not watch.take("A")


def test_a_picture_taken_before_the_visit_was_opened_is_told_apart(watch, clock):
    now = datetime.now()
    (watch.folder / "late.jpg").write_bytes(picture(now - timedelta(minutes=5)))
    (watch.folder / "now.jpg").write_bytes(picture(now, seed=2))
    (watch.folder / "untold.jpg").write_bytes(picture(seed=3))
    watch.has_new("A")
    clock[0] += 2
    older = {one.path.name: one.is_older for one in watch.take("A")}
    assert older == {"late.jpg": True, "now.jpg": False, "untold.jpg": False}


def test_a_folder_that_went_is_told(watch):
    watch.folder.rename(watch.folder.with_name("elsewhere"))
    with pytest.raises(PhotoError, match="cannot be read") as told:
        watch.has_new("A")
    assert told.value.do


def test_the_page_takes_in_what_is_new_and_asks_about_what_is_older(home, watch, clock, monkeypatch):
    monkeypatch.setattr(watching, "_WATCH", watch)
    test = page("visit")
    assert text.WATCH_LINE.format("from the phone") in words(test)
    (watch.folder / "IMG_7.jpg").write_bytes(picture(datetime.now()))
    before = datetime.now() - timedelta(hours=3)
    (watch.folder / "before.jpg").write_bytes(picture(before, seed=2))
    test.run()
    clock[0] += 2
    test.run()
    draft = drafts.draft_of(test.session_state["draft_token"])
    assert len(draft.photos) == 1
    assert b"GPSMETHOD" not in draft.photos[0].read_bytes()
    assert "IMG_7.jpg" in words(test)
    assert text.WATCH_OLDER.format("before.jpg") in words(test)
    next(button for button in test.button if button.label == text.WATCH_TAKE).click().run()
    assert len(draft.photos) == 2
    assert "before.jpg" in words(test)
    # an earlier day's photograph dates the visit, by whichever way it came
    assert test.text_input(key=f"visit-{draft.folder.name}-day").value == f"{before:%Y-%m-%d}"
    assert (watch.folder / "IMG_7.jpg").exists()


def test_without_a_folder_the_page_says_nothing_of_it(home):
    assert "New pictures in" not in words(page("visit"))
