"""What a policy can say: do this test, do that act, mend that component, give the car back."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Look:
    """Do a test, after what it needs; `charged` says that the battery is known to be charged well enough.

    Who practises may name another instrument than the ordinary one, or measure at once, without the preparations.
    """

    test: str
    charged: bool = False
    instrument: str | None = None
    at_once: bool = False


@dataclass(frozen=True)
class Prepare:
    """Do an act that mends nothing."""

    act: str


@dataclass(frozen=True)
class Mend:
    """Mend a component by an act, and prove it."""

    component: str
    act: str


@dataclass(frozen=True)
class GiveBack:
    """Give the car back."""


Step = Look | Prepare | Mend | GiveBack
