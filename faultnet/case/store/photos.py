"""Photos of a store: small JPEG files under the hash of their bytes; what is kept is never changed."""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import Connection, select

from faultnet.case.photos import photo_id
from faultnet.case.store.tables import PHOTOS
from faultnet.errors import StoreError


def keep_photo(connection: Connection, data: bytes) -> str:
    """Keep a photo, if it is not kept yet, and give its id."""
    name = photo_id(data)
    if connection.execute(select(PHOTOS.c.id).where(PHOTOS.c.id == name)).first() is None:
        connection.execute(PHOTOS.insert().values(id=name, data=data))
    return name


def read_photo(connection: Connection, name: str) -> bytes:
    """Give the bytes of a photo.

    Raises
    ------
    StoreError
        If the store does not have it, as after a case file came without its photos.
    """
    found = connection.execute(select(PHOTOS.c.data).where(PHOTOS.c.id == name)).scalar()
    if found is None:
        raise StoreError("this photo is not in the store", got=name[:12], to_do="take in the backup it was kept in")
    return bytes(found)


def all_photos(connection: Connection) -> Iterator[tuple[str, bytes]]:
    """Read every photo with its id, one by one."""
    for row in connection.execution_options(yield_per=16).execute(select(PHOTOS).order_by(PHOTOS.c.id)):
        yield row.id, bytes(row.data)
