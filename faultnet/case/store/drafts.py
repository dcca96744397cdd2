"""Drafts: what was typed and not yet entered, kept so that a reload or another page loses none of it.

A draft is no part of any case: it may be written over and thrown away, and stands in no backup.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Any

from sqlalchemy import Connection, select

from faultnet.case.store.tables import DRAFTS

KEPT_FOR = timedelta(days=90)


def read_draft(connection: Connection, place: str) -> dict[str, Any]:
    """Read what stands in the fields of a place; empty when nothing was typed there."""
    found = connection.execute(select(DRAFTS.c.fields).where(DRAFTS.c.place == place)).scalar()
    return dict(json.loads(found)) if found else {}


def write_draft(connection: Connection, place: str, fields: Mapping[str, Any]) -> None:
    """Keep what stands in the fields of a place, or nothing; drafts that nobody came back to are let go."""
    now = datetime.now(UTC)
    connection.execute(DRAFTS.delete().where(DRAFTS.c.place == place))
    connection.execute(DRAFTS.delete().where(DRAFTS.c.changed_at < (now - KEPT_FOR).isoformat()))
    if fields:
        text = json.dumps(dict(fields), ensure_ascii=False)
        connection.execute(DRAFTS.insert().values(place=place, fields=text, changed_at=now.isoformat()))
