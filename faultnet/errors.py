"""The errors a user can cause, and only those.

Everything a user can get wrong ends in a :class:`FaultnetError` whose text says what is wrong, where, what was
found, what was expected and what to do. Anything else that is raised is a bug of ours and is left to surface.
"""

from __future__ import annotations

from typing import Any

LONGEST = 4000
"""Characters of what was found, and of where, that a message shows: twenty faults by name, and no text without end."""


class FaultnetError(Exception):
    """Root of all errors that are the input's fault, not the program's.

    Parameters
    ----------
    what : str
        The trouble in one sentence.
    where : str, optional
        File, row, field or entry at which it was found.
    got, expected : str, optional
        What was found there and what would have been accepted.
    to_do : str, optional
        The next thing the user can try.

    Examples
    --------
    >>> print(FaultnetError("unknown test", where="entry 3", got="'rest_volts'", to_do="see `faultnet catalogue`"))
    unknown test; where: entry 3; got: 'rest_volts'; what to do: see `faultnet catalogue`
    """

    def __init__(
        self,
        what: str,
        *,
        where: str | None = None,
        got: str | None = None,
        expected: str | None = None,
        to_do: str | None = None,
    ) -> None:
        self.what = what
        self.where = where
        self.got = got
        self.expected = expected
        self.to_do = to_do
        parts = [what]
        shown = (_with_an_end(where), _with_an_end(got), expected, to_do)
        for name, text in zip(("where", "got", "expected", "what to do"), shown, strict=True):
            if text:
                parts.append(f"{name}: {text}")
        super().__init__("; ".join(parts))

    def __reduce__(self) -> tuple[Any, ...]:
        """Go from one process to another as it is, whatever its constructor asks for."""
        return _as_it_was, (type(self), self.args, vars(self))


def _as_it_was(kind: type[FaultnetError], texts: tuple[str, ...], state: dict[str, Any]) -> FaultnetError:
    error = kind.__new__(kind, *texts)
    error.__dict__.update(state)
    return error


def system_words(error: Exception) -> str:
    """What the system says of a file that could not be used, for `got` of an error of ours.

    Examples
    --------
    >>> system_words(PermissionError(13, "Permission denied", "cases.sqlite")), system_words(ValueError("Null byte"))
    ('permission denied', 'null byte')
    """
    return (getattr(error, "strerror", None) or str(error)).lower()


def _with_an_end(text: str | None) -> str | None:
    return text if text is None or len(text) <= LONGEST else f"{text[: LONGEST - 3]}..."


class EntryError(FaultnetError):
    """A typed reading cannot be understood or cannot be physical."""


class CaseError(FaultnetError):
    """A case file or a stored case is malformed."""


class CarError(FaultnetError):
    """The car is described wrongly, or is one this tool must not be used on."""


class PriorsError(FaultnetError):
    """A prior set is malformed: a missing table, a bad unit, counts that cannot be."""


class RecordingError(FaultnetError):
    """A recorded log cannot be read, or is unclear and needs an option."""


class ClashError(FaultnetError):
    """The entries contradict each other so much that no hypothesis explains them.

    Parameters
    ----------
    what : str
        The trouble in one sentence.
    entries : tuple of str
        The smallest set of entries found that cannot stand together.
    """

    def __init__(self, what: str, *, entries: tuple[str, ...] = (), to_do: str | None = None) -> None:
        self.entries = entries
        super().__init__(what, where="; ".join(entries) or None, to_do=to_do)


class StoreError(FaultnetError):
    """A case could not be read from or written to the store."""


class ClusterError(FaultnetError):
    """A cluster does not answer, or nobody is left in it to work."""


class MissingExtraError(FaultnetError):
    """An optional part is not installed."""

    def __init__(self, what: str, *, extra: str) -> None:
        super().__init__(what, to_do=f"install it with: pip install 'faultnet[{extra}]'")
