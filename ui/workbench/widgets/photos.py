"""Photos of a visit and its entries: shown, taken or chosen, and deleted."""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

from faultnet.case.photos import small_photo
from faultnet.case.store import events
from faultnet.case.store.events import Event
from faultnet.case.types import Case, Photo, Visit
from faultnet.diagnosis.wording import entry_words
from faultnet.errors import FaultnetError
from faultnet.prior_set.catalogue import Catalogue
from workbench import frame, state, uploads
from workbench.widgets.fields import Fields
from workbench.words import plain

ROUND, READY = "photo_round", "photo_ready"
Owner = tuple[int, int | None]
"""A visit, and the place of one of its entries or None for the visit itself, counted from 0."""


def show(number: int, visit: Visit, catalogue: Catalogue) -> None:
    """Put the photos of a visit and of its entries on the page, each with what it belongs to and a way to delete it."""
    owners = [(None, visit.photos), *((k, e.photos) for k, e in enumerate(visit.entries))]
    for place, photos in owners:
        for count, photo in enumerate(photos):
            of = "the visit" if place is None else entry_words(catalogue, visit.entries[place])
            _one(photo, (number, place), count, of)


def _one(photo: Photo, owner: Owner, count: int, of: str) -> None:
    words = f"{photo.caption}: {of}" if photo.caption else f"Photo of {of}"
    try:
        st.image(state.store().photo(photo.id), width="stretch", alt=plain(words, "option"))
    except FaultnetError as error:
        frame.show_error(error)
    with st.container(horizontal=True, vertical_alignment="center"):
        st.html(f"<p class='fn-note'>{plain(words)}</p>")
        st.button("Delete this photo", key=f"unphoto_{owner[0]}_{owner[1]}_{count}", on_click=_deleted,
                  args=(owner, photo, words, state.drawn()))  # fmt: skip


def add(case: Case, case_id: str, catalogue: Catalogue) -> None:
    """Put the place to take or choose a photo on the page; it is looked at before it is kept."""
    frame.title("Add a photo")
    fields = Fields(f"photo_{case_id}")
    words = _owners(case, catalogue)
    owner = fields.choice("photo_of", "It belongs to", words, next(reversed(words)))
    caption = fields.text("photo_caption", "What it shows")
    given = uploads.given("Take or choose a photo", f"photo_file_{state.recall(ROUND, 0)}")
    fields.done()
    if given is None:
        return
    try:
        st.image(_ready(given), width="stretch", alt="The photo to be kept")
    except FaultnetError as error:
        frame.show_error(error, name="wrong-photo")
        frame.scroll_to("wrong-photo", given.file_id)
        return
    st.button("Keep the photo", key="keep_photo", type="primary", width="stretch", on_click=_kept,
              args=(owner, caption, given, fields, state.drawn()))  # fmt: skip


def _owners(case: Case, catalogue: Catalogue) -> dict[str, str]:
    """What a photo can belong to, by visit and place of the entry; what was entered last stands last."""
    words = {}
    for number, visit in enumerate(case.visits):
        words[f"{number}"] = f"Visit {number + 1}"
        for place, entry in enumerate(visit.entries):
            words[f"{number}.{place}"] = f"{number + 1}.{place + 1}  {entry_words(catalogue, entry)}"
    return words


def _ready(given: uploads.UploadedFile) -> bytes:
    """The photo as it would be kept, made small once for a file.

    Raises
    ------
    PhotoError
        If it is none.
    """
    known: tuple[str, bytes] | None = state.recall(READY)
    if known is None or known[0] != given.file_id:
        known = given.file_id, small_photo(given.getvalue(), given.name)
        state.remember(READY, known)
    return known[1]


def _kept(owner: str, caption: str, given: uploads.UploadedFile, fields: Fields, drawn: int) -> None:
    if state.pressed_again(drawn):
        return
    try:
        photo = Photo(state.store().keep_photo(given.getvalue(), given.name), " ".join(caption.split()))
    except FaultnetError as error:
        state.set_trouble(error)
        return
    visit, _, place = owner.partition(".")
    where = int(visit), int(place) if place else None
    if _write(where, (*_photos(where), photo), "Stored: a photo"):
        state.remember(ROUND, state.recall(ROUND, 0) + 1)
        state.remember(READY, None)
        fields.drop()


def _deleted(owner: Owner, photo: Photo, words: str, drawn: int) -> None:
    if not state.pressed_again(drawn):
        left = tuple(kept for kept in _photos(owner) if kept != photo)
        _write(owner, left, f"Deleted: {words}")


def _photos(owner: Owner) -> tuple[Photo, ...]:
    visit = _case().visits[owner[0]]
    return visit.photos if owner[1] is None else visit.entries[owner[1]].photos


def _case() -> Case:
    opened = state.opened()
    assert opened is not None
    return opened.case


def _write(owner: Owner, photos: tuple[Photo, ...], words: str) -> bool:
    return state.append(_change(owner, photos), words)


def _change(owner: Owner, photos: tuple[Photo, ...]) -> Event:
    """The event that gives a visit or an entry these photos."""
    visit, place = owner
    if place is None:
        return events.change_photos(visit, photos)
    return events.change_entry(visit, place, replace(_case().visits[visit].entries[place], photos=photos))
