"""Photos made small and stripped of their metadata before they are kept, so that no place or device is told by them.

The kind of a file is found out by its content, not by its name. Needs the extra ``photos`` (Pillow).
"""

from __future__ import annotations

import hashlib
import io

from faultnet.errors import FaultnetError, MissingExtraError

KINDS = ("JPEG", "PNG", "WEBP")
MOST_BYTES = 25_000_000
MOST_PIXELS = 120_000_000
LONGEST_SIDE = 1280
"""Longest side of what is kept [px]: enough to read a label or see a corroded clamp, some 200 kB."""
QUALITY = 82


class PhotoError(FaultnetError):
    """A photo cannot be taken in."""


def small_photo(data: bytes, name: str = "the photo") -> bytes:
    """Make a photo small: upright, at most 1280 px long, as JPEG, with no metadata.

    Parameters
    ----------
    data : bytes
        A JPEG, PNG or WebP file.
    name : str
        What to call it in an error.

    Returns
    -------
    bytes
        A JPEG file; the same for the same file.

    Raises
    ------
    PhotoError
        If it is none of these kinds by its content, is damaged, or too large.
    MissingExtraError
        If Pillow is not installed.
    """
    if len(data) > MOST_BYTES:
        raise _refused("is too large", name, f"{len(data) / 1e6:.0f} MB", f"at most {MOST_BYTES / 1e6:.0f} MB")
    try:
        from PIL import Image, ImageOps
    except ImportError:
        raise MissingExtraError("photos cannot be read", extra="photos") from None
    try:
        with Image.open(io.BytesIO(data), formats=KINDS) as opened:
            if opened.width * opened.height > MOST_PIXELS:
                size = f"{opened.width} x {opened.height} pixels"
                raise _refused("is too large", name, size, f"at most {MOST_PIXELS / 1e6:.0f} million pixels")
            opened.draft("RGB", (2 * LONGEST_SIDE, 2 * LONGEST_SIDE))
            upright = ImageOps.exif_transpose(opened).convert("RGBA")
    except (OSError, ValueError, SyntaxError, EOFError, Image.DecompressionBombError, Image.DecompressionBombWarning):
        begins = f"a file that begins with {data[:8]!r}" if data else "an empty file"
        raise _refused("cannot be read as a picture", name, begins, "JPEG, PNG or WebP") from None
    upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    plain = Image.new("RGB", upright.size, "white")
    plain.paste(upright, mask=upright.getchannel("A"))
    out = io.BytesIO()
    plain.save(out, "JPEG", quality=QUALITY)
    return out.getvalue()


def photo_id(data: bytes) -> str:
    """The id under which a photo is kept: a hash of its bytes.

    Examples
    --------
    >>> len(photo_id(b""))
    64
    """
    return hashlib.sha256(data).hexdigest()


def _refused(what: str, name: str, got: str, expected: str) -> PhotoError:
    return PhotoError(f"the file {what}", where=name, got=got, expected=expected, to_do="choose another photo")
