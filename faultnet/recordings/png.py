"""The picture of a trace as PNG, for messages and sheets that take no SVG; needs the extra ``png``."""

from __future__ import annotations

from faultnet.errors import MissingExtraError, RecordingError

DENSITY = 2.0
FAMILIES = "DejaVu Sans, Noto Sans, Liberation Sans, Arial, Helvetica"
PROBE = (
    f'<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"><text y="9" font-family="{FAMILIES}">V</text></svg>'
)


def picture_png(svg: str, *, density: float = DENSITY) -> bytes:
    """Render a picture on white.

    Parameters
    ----------
    svg : str
        Of :func:`~faultnet.recordings.picture.draw_trace`.
    density : float
        Pixels for each unit of the drawing [-].

    Returns
    -------
    bytes
        The PNG file.

    Raises
    ------
    MissingExtraError
        If the optional library is not installed.
    RecordingError
        If the system has none of the fonts that the words could be set in.

    Examples
    --------
    >>> picture_png('<svg xmlns="http://www.w3.org/2000/svg" width="20" height="10"></svg>')[1:4]
    b'PNG'
    """
    try:
        from resvg_py import svg_to_bytes
    except ImportError as error:
        raise MissingExtraError("a picture as PNG needs an optional part; SVG does not", extra="png") from error
    if bytes(svg_to_bytes(svg_string=PROBE)) == bytes(svg_to_bytes(svg_string=PROBE.replace(">V<", "><"))):
        raise RecordingError(
            "a picture as PNG would be without words", got="no such font", expected=FAMILIES,
            to_do="install one of these fonts, or draw an SVG",
        )  # fmt: skip
    named = svg.replace('font-family="sans-serif"', f'font-family="{FAMILIES}"')
    return bytes(svg_to_bytes(svg_string=named, background="white", zoom=density))
