"""Fields that keep what is typed and say themselves what is wrong with it; none hides or empties another."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

import streamlit as st

from faultnet.errors import EntryError, FaultnetError
from workbench import entering, frame, state
from workbench.drafts import Draft
from workbench.words import plain


class Fields:
    """The fields of a form and what is wrong with them.

    Parameters
    ----------
    place : str
        Of their draft.

    Notes
    -----
    Errors stand at their fields once the form was pressed; before that, one who is still typing is left alone. Below
    each field there is room for its error from the beginning: where something is put in between, the browser makes all
    that follows anew, and what is just being typed there is lost.
    """

    def __init__(self, place: str) -> None:
        self.draft = Draft(place)
        self.wrong: list[str] = []
        self._figures: list[str] = []
        self._below = st.empty()

    @property
    def tried(self) -> int:
        """How often the form was pressed and did not go through."""
        return int(state.recall(f"tried_{self.draft.place}", 0))

    def press(self) -> None:
        """Note that the form is pressed; for the button's `on_click`."""
        state.remember(f"tried_{self.draft.place}", self.tried + 1)

    def text(self, key: str, label: str, start: str = "", **more: Any) -> str:
        """A line of text."""
        begin = self.draft.begins(key, start) or ""
        given = st.text_input(label, begin, autocomplete="off", live=True, key=key, **more)
        self._below = st.empty()
        return str(given or "").strip()

    def figure(
        self,
        key: str,
        label: str,
        start: str,
        unit: str,
        plausible: tuple[float, float],
        *,
        needed: str = "",
        **more: Any,
    ) -> float | None:
        """A number as somebody types it; None where it is empty or wrong, and then `wrong` has its key.

        Parameters
        ----------
        key, label, start, unit : str
        plausible : (float, float)
            [base unit]
        needed : str
            What to do where it is left empty; it may be, if that is left out.
        """
        typed = self.text(key, label, start)
        self._figures.append(key)
        try:
            value = entering.number_or_none(typed, unit, plausible, label)
            if value is None and needed:
                raise EntryError(f"{label} is needed", to_do=needed)
        except FaultnetError as error:
            self.amiss(key, error)
            return None
        return value

    def choice(
        self, key: str, label: str, words: Mapping[Any, str], start: Any, *, needed: str = "", **more: Any
    ) -> Any:
        """One of a list; None where nothing is chosen yet."""
        begin = self.draft.begins(key, start, words)
        index = None if begin is None else list(words).index(begin)
        found = st.selectbox(label, list(words), index=index, format_func=words.__getitem__,
                             key=key, **more)  # fmt: skip
        self._below = st.empty()
        if found is None and needed:
            self.amiss(key, EntryError(f"{label}: nothing is chosen yet", to_do=needed))
        return found

    def one_of(
        self, key: str, label: str, words: Mapping[str, str], start: str | None, *, required: bool = True
    ) -> Any:
        """One of a few that stand side by side."""
        begin = self.draft.begins(key, start, words)
        return st.segmented_control(label, list(words), default=begin, format_func=words.__getitem__, required=required,
                                    key=key)  # fmt: skip

    def several(
        self, key: str, label: str, words: Mapping[str, str], start: Collection[str] = (), **more: Any
    ) -> list[str]:
        """Any of a list."""
        begin = self.draft.begins(key, list(start), words)
        return list(st.multiselect(label, list(words), default=begin, format_func=words.__getitem__,
                                   key=key, **more))  # fmt: skip

    def scale(self, key: str, label: str, steps: Collection[float], start: float) -> float:
        """One of some steps of a scale."""
        begin = self.draft.begins(key, start, steps)
        return float(st.select_slider(label, list(steps), value=start if begin is None else begin, key=key))

    def tick(self, key: str, label: str, start: bool = False) -> bool:
        """A box to tick."""
        return st.checkbox(label, bool(self.draft.begins(key, start)), key=key)

    def amiss(self, key: str, error: FaultnetError) -> None:
        """Note an error, and show it below the field that was put on the page last."""
        self.wrong.append(key)
        if self.tried:
            with self._below.container():
                frame.show_error(error, name=f"wrong-{key}")

    def done(self) -> None:
        """Tell the page which fields take numbers, and bring the first that is wrong into view after a press."""
        names = " ".join(plain(key) for key in self._figures)
        st.html(f"<div hidden class='fn-figures' data-figures='{names}'></div>")
        frame.bring_into_view(self.draft.place, self.wrong[0] if self.wrong and self.tried else "", self.tried)

    def drop(self) -> None:
        """Let the draft go and forget that the form was pressed."""
        self.draft.drop()
        state.remember(f"tried_{self.draft.place}", 0)


def keys(field: str, units: Collection[str], *, sign: bool = False, limits: bool = False, more: str = "") -> str:
    """HTML of large keys for what a phone's number pad lacks; a press types into the field.

    Parameters
    ----------
    field : str
        Key of the field.
    units : collection of str
    sign : bool
        Whether a number may be below nought.
    limits : bool
        Whether a meter may show that it is over or under its range.
    more : str
        Further attributes.
    """
    named = [("±", "sign", "other sign", "±")] if sign else []
    named += [(unit, "unit", unit, plain(unit)) for unit in units]
    over = "over<span class='more'> range</span>"  # the narrowest phone has room for the first word
    named += [("over range", "over", "over range", over), ("under", "under", "under", "under")] if limits else []
    buttons = "".join(
        f"<button type='button' data-does='{does}' data-what='{plain(words)}' aria-label='{plain(said)}'>"
        f"{shown}</button>"
        for words, does, said, shown in named
    )
    return f"<div class='fn-keys' role='group' aria-label='Keys' data-field='{plain(field)}' {more}>{buttons}</div>"
