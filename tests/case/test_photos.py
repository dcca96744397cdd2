"""Photos: small, upright, without metadata, kept under the hash of their bytes, carried by backups."""

from __future__ import annotations

import io
import struct
import zlib
from pathlib import Path

import pytest
from PIL import ExifTags, Image

from faultnet.case.photos import LONGEST_SIDE, MOST_BYTES, PhotoError, photo_id, small_photo
from faultnet.case.store.events import add_entry, change_photos
from faultnet.case.store.store import Store, open_store
from faultnet.case.types import Battery, Car, Case, Photo, Reading
from faultnet.errors import StoreError
from tests.case.conftest import new_place


def drawn(size: tuple[int, int] = (2000, 1000), kind: str = "JPEG", *, turned: bool = False) -> bytes:
    """An invented photo, red on its left half, with a place and a device in its metadata."""
    picture = Image.new("RGB", size, "white")
    picture.paste("red", (0, 0, size[0] // 2, size[1]))
    exif = Image.Exif()
    exif[ExifTags.Base.Make] = "an invented camera"
    exif[ExifTags.Base.GPSInfo] = {1: "N", 2: (50.0, 0.0, 0.0)}
    if turned:
        exif[ExifTags.Base.Orientation] = 6  # to be turned by 90 degrees to the right to stand upright (EXIF 2.3)
    out = io.BytesIO()
    picture.save(out, kind, exif=exif)
    return out.getvalue()


def bomb() -> bytes:
    """A PNG of some kilobytes that claims 60,000 x 60,000 pixels."""

    def chunk(name: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    head = struct.pack(">IIBBBBB", 60_000, 60_000, 8, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(bytes(1000))) + chunk(b"IEND", b"")
    )


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_a_photo_is_made_small_and_tells_nothing_of_place_or_device(kind: str) -> None:
    small = small_photo(drawn(kind=kind))
    assert b"invented camera" not in small
    with Image.open(io.BytesIO(small)) as read:
        assert (read.format, read.size) == ("JPEG", (LONGEST_SIDE, LONGEST_SIDE // 2))
        assert not dict(read.getexif())
    assert small == small_photo(drawn(kind=kind))


def test_a_turned_photo_stands_upright() -> None:
    with Image.open(io.BytesIO(small_photo(drawn((1200, 600), turned=True)))) as read:
        assert read.size == (600, 1200)
        assert read.getpixel((300, 100))[1] < 80  # red at the top
        assert read.getpixel((300, 1100))[1] > 200


@pytest.mark.parametrize(
    "data, got",
    [
        (b"", "an empty file"),
        (b"%PDF-1.7 not a photo", "%PDF-1.7"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "<svg xml"),
        (drawn()[:500], "begins with"),
        (bomb(), "60000 x 60000|begins with"),
        (bytes(MOST_BYTES + 1), "25 MB"),
    ],
)
def test_what_is_no_photo_is_refused_by_its_content(data: bytes, got: str) -> None:
    with pytest.raises(PhotoError, match=got):
        small_photo(data, "battery.jpg")


def test_a_photo_is_kept_once_and_read_back(store: Store) -> None:
    name = store.keep_photo(drawn())
    assert store.keep_photo(drawn()) == name
    assert photo_id(store.photo(name)) == name
    with pytest.raises(StoreError, match="not in the store"):
        store.photo("0" * 64)


@pytest.mark.parametrize("kind", ["sqlite", "postgresql"])
def test_photos_travel_in_the_backup(store: Store, kind: str, request: pytest.FixtureRequest, tmp_path: Path) -> None:
    photo = Photo(store.keep_photo(drawn()), "left post")
    case_id = store.create_case(Case(Car(Battery(600.0)), invented=True))
    store.append(case_id, add_entry(0, Reading("rest_voltage", 12.4, photos=(photo,))), 1)
    store.append(case_id, change_photos(0, (photo,)), 2)
    assert store.backup(tmp_path / "backup.jsonl") == 3
    with open_store(new_place(kind, request, tmp_path)) as other:
        assert other.restore(tmp_path / "backup.jsonl") == 3
        assert other.photo(photo.id) == store.photo(photo.id)
        assert other.current(case_id).visits[0].entries[0].photos == (photo,)
        assert other.current(case_id).visits[0].photos == (photo,)
        assert other.restore(tmp_path / "backup.jsonl") == 0


def test_a_backup_of_the_first_version_is_still_taken(store: Store, tmp_path: Path) -> None:
    import hashlib
    import json

    case_id = store.create_case(Case(Car(Battery(600.0)), invented=True))
    store.backup(tmp_path / "now.jsonl")
    lines = (tmp_path / "now.jsonl").read_bytes().splitlines(keepends=True)[:-1]
    lines[0] = lines[0].replace(b'"version": 2', b'"version": 1')
    last = {"events": len(lines) - 1, "sha256": hashlib.sha256(b"".join(lines)).hexdigest()}
    (tmp_path / "old.jsonl").write_bytes(b"".join([*lines, json.dumps(last).encode(), b"\n"]))
    with open_store(tmp_path / "other.sqlite") as other:
        assert other.restore(tmp_path / "old.jsonl") == 1
        assert other.current(case_id) == store.current(case_id)
