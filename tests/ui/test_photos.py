"""Photos on the page of entries: taken or chosen, looked at, kept, shown, carried to the job sheet, deleted."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from PIL import Image

from faultnet.case.store.store import open_store
from faultnet.case.types import Reading
from tests.ui.conftest import Served, a_case
from tests.ui.hands import go, opened, pick, settled, wait_for_words
from tests.ui.test_access import in_both_colours
from tests.ui.test_at_the_car import EACH, in_view, shown

pytestmark = pytest.mark.browser
Screen = Callable[..., Any]
READING = "1.1  Open-circuit (rest) voltage at the posts: 12.10 V"


def photo(kind: str = "JPEG", size: tuple[int, int] = (2400, 1800)) -> bytes:
    """A picture as a telephone takes it, with metadata that tell where."""
    out, told = io.BytesIO(), Image.Exif()
    told[0x010E] = "taken behind the house"  # ImageDescription, Exif 2.3
    Image.effect_noise(size, 40).convert("RGB").save(out, kind, exif=told)
    return out.getvalue()


def a_case_with_a_reading(served: Served) -> str:
    case = a_case()
    first = replace(case.visits[0], entries=(Reading("rest_voltage", value=12.1),))
    return served.keep(replace(case, visits=(first,)))


def give(page: Any, name: str, data: bytes) -> None:
    """Choose a file, as the camera or the gallery of a telephone gives it."""
    where = page.locator("[class*=st-key-photo_file] input[type=file]")
    page.wait_for_function("() => document.querySelector('[class*=st-key-photo_file] input')?.accept === 'image/*'")
    where.set_input_files({"name": name, "mimeType": "image/jpeg", "buffer": data})


@EACH
def test_a_photo_is_looked_at_kept_shown_printed_and_deleted(screen: Screen, served: Served, kind: str) -> None:
    case_id = a_case_with_a_reading(served)
    page = opened(shown(screen, kind), served, case_id, "entries")
    page.get_by_label("What it shows").fill("left post, green")
    pick(page, "It belongs to", READING)
    give(page, "IMG_0001.jpg", photo())
    page.get_by_role("button", name="Keep the photo").click()
    wait_for_words(page, "Stored: a photo")
    (kept,) = served.current(case_id).visits[0].entries[0].photos
    assert kept.caption == "left post, green"
    with open_store(served.place) as store:
        small = store.photo(kept.id)
    assert b"behind the house" not in small
    with Image.open(io.BytesIO(small)) as stored:
        assert max(stored.size) == 1280
    drawn = page.get_by_alt_text("left post, green: Open-circuit (rest) voltage at the posts: 12.10 V")
    drawn.wait_for()
    page.wait_for_function("(e) => e.complete && e.naturalWidth === 1280", arg=drawn.element_handle())
    assert drawn.bounding_box()["width"] <= page.viewport_size["width"]
    go(page, "Paper")
    page.frame_locator("iframe").get_by_alt_text("left post, green").wait_for(state="attached")
    go(page, "Entries")
    page.get_by_role("button", name="Delete this photo").click()
    wait_for_words(page, "Deleted: left post, green")
    assert served.current(case_id).visits[0].entries[0].photos == ()
    page.get_by_role("button", name="Undo").click()
    drawn.wait_for()
    assert served.current(case_id).visits[0].entries[0].photos == (kept,)


def test_a_photo_may_belong_to_the_visit_and_breaks_no_rule_of_accessibility(screen: Screen, served: Served) -> None:
    case_id = a_case_with_a_reading(served)
    page = opened(screen("phone", bypass_csp=True), served, case_id, "entries")
    pick(page, "It belongs to", "Visit 1")
    give(page, "front.png", photo("PNG", (300, 200)))
    page.get_by_role("button", name="Keep the photo").wait_for()
    assert in_both_colours(page) == {"light": [], "dark": []}
    page.get_by_role("button", name="Keep the photo").click()
    page.get_by_alt_text("Photo of the visit").wait_for()
    assert len(served.current(case_id).visits[0].photos) == 1
    assert in_both_colours(page) == {"light": [], "dark": []}


@EACH
def test_a_file_that_is_no_photo_is_said_where_it_was_given_and_another_can_be(
    screen: Screen, served: Served, kind: str
) -> None:
    case_id = a_case_with_a_reading(served)
    page = opened(shown(screen, kind), served, case_id, "entries")
    give(page, "photo.jpg", b"%PDF-1.7 no picture")
    page.wait_for_selector("#wrong-photo")
    settled(page)
    assert "cannot be read as a picture" in page.inner_text("#wrong-photo")
    assert "JPEG, PNG or WebP" in page.inner_text("#wrong-photo")
    assert page.get_by_role("button", name="Keep the photo").count() == 0
    page.wait_for_timeout(1000)
    assert in_view(page, "#wrong-photo b")
    give(page, "photo.jpg", photo(size=(640, 480)))
    page.get_by_role("button", name="Keep the photo").click()
    wait_for_words(page, "Stored: a photo")
    assert page.locator("#wrong-photo").count() == 0
    assert len(served.current(case_id).visits[0].entries[0].photos) == 1
