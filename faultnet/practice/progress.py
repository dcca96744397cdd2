"""What somebody practised so far, in one file: the car in hand with every step, and all cars given back.

The file is written whole beside its place and renamed, only its owner may read it, and it carries its own checksum: one
that is damaged is said to be so, and is never written over.
"""

from __future__ import annotations

import hashlib
import json
import os
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from faultnet.case.file import case_to_json
from faultnet.errors import FaultnetError, StoreError, system_words
from faultnet.practice.cars import Ticket
from faultnet.practice.play import Move, Played, begun, moved
from faultnet.practice.review import Review, review_of_record
from faultnet.simulation.workshop.job import Shop
from faultnet.simulation.workshop.steps import GiveBack, Look, Mend, Prepare, Step
from faultnet.whole import written_whole

FORMAT = {"format": "faultnet-practice", "version": 1}
LARGEST = 50_000_000  # bytes; ten thousand cars take some twenty million
STEPS: dict[str, type[Step]] = {"look": Look, "prepare": Prepare, "mend": Mend, "give_back": GiveBack}


@dataclass(frozen=True)
class InHand:
    """A car that is not yet given back, or not yet looked back upon.

    Parameters
    ----------
    ticket : Ticket
    tools : tuple of str, optional
        Every tool when None.
    moves : tuple of Move
    seen : str
        Checksum of what was seen of the car; another program or prior set may make another car of the same ticket.
    """

    ticket: Ticket
    tools: tuple[str, ...] | None
    moves: tuple[Move, ...]
    seen: str


@dataclass(frozen=True)
class Progress:
    """All of it.

    Parameters
    ----------
    in_hand : InHand, optional
    cars : tuple of Review
    version : str
        Checksum of the file it was read from; empty where there was none.
    """

    in_hand: InHand | None = None
    cars: tuple[Review, ...] = ()
    version: str = ""


def practice_folder() -> Path:
    """Where progress is kept: ``FAULTNET_PRACTICE`` if set, else a folder in the user's data folder."""
    named = os.environ.get("FAULTNET_PRACTICE")
    if named:
        return Path(named)
    import platformdirs

    return platformdirs.user_data_path("faultnet") / "practice"


def progress_file(player: str = "me") -> Path:
    """The file of a player.

    Raises
    ------
    FaultnetError
        If the name is no name for a file.
    """
    if not 0 < len(player) <= 40 or not all(c.isalnum() or c in "-_" for c in player):
        raise FaultnetError(
            "no name to keep progress under", got=repr(player), expected="1 to 40 letters, digits, - and _"
        )
    return practice_folder() / f"{player}.json"


def load_progress(path: Path) -> Progress:
    """Read the progress of a player; none yet where there is no file.

    Raises
    ------
    StoreError
        If the file cannot be read, or is damaged; it is left as it is.
    """
    try:
        if not path.exists():
            return Progress()
        text = path.read_bytes() if path.stat().st_size <= LARGEST else b""
    except OSError as error:
        raise StoreError(
            "the progress file cannot be read", where=str(path), got=system_words(error), to_do="check the rights on it"
        ) from None
    try:
        whole = json.loads(text)
        kept = whole["practice"]
        if _checksum(kept) != whole["sha256"] or {name: kept[name] for name in FORMAT} != FORMAT:
            raise ValueError("its checksum does not fit")
        in_hand = None if kept["in_hand"] is None else _in_hand(kept["in_hand"])
        return Progress(in_hand, tuple(review_of_record(r) for r in kept["cars"]), str(whole["sha256"]))
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError, FaultnetError) as error:
        raise StoreError(
            "the progress file is damaged, and was left as it is",
            where=str(path),
            got=f"{len(text)} bytes: {error}",
            expected="what faultnet wrote there",
            to_do=f"put a copy of {path.name} back into {path.parent}, or move it aside to begin anew",
        ) from None


def save_progress(path: Path, progress: Progress) -> Progress:
    """Write progress whole, and give it with its new version.

    Raises
    ------
    StoreError
        If the file cannot be written, is damaged, or was changed since this progress was read.
    """
    if load_progress(path).version != progress.version:
        raise StoreError(
            "this practice was gone on with elsewhere", where=str(path), got="a newer file",
            to_do="read it again: what was done there is kept",
        )  # fmt: skip
    kept = {
        **FORMAT,
        "in_hand": None if progress.in_hand is None else _record(progress.in_hand),
        "cars": [car.record() for car in progress.cars],
    }
    version = _checksum(kept)
    try:
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        with written_whole(path, private=True) as file:
            file.write(json.dumps({"sha256": version, "practice": kept}, ensure_ascii=False).encode())
    except OSError as error:
        raise StoreError(
            "progress cannot be kept", where=str(path), got=system_words(error), to_do="make that folder writable"
        ) from None
    return replace(progress, version=version)


def held(played: Played) -> InHand:
    """A car in hand as it is kept."""
    tools = played.shop.tools
    moves = tuple(Move(m.step, m.belief) for m in played.moves)
    return InHand(played.ticket, None if tools is None else tuple(sorted(tools)), moves, seen_of(played))


def seen_of(played: Played) -> str:
    """Checksum of what a player saw of a car."""
    return hashlib.sha256(case_to_json(played.case, None).encode()).hexdigest()[:16]


def taken_up(in_hand: InHand, shop: Shop) -> Played:
    """A car in hand, with every step taken again.

    Parameters
    ----------
    in_hand : InHand
    shop : Shop
        With the tools of whoever began it; others are passed over.

    Raises
    ------
    StoreError
        If it is no longer the car that it was.
    """
    tools = None if in_hand.tools is None else frozenset(in_hand.tools)
    trouble = ""
    try:
        played = begun(in_hand.ticket, replace(shop, tools=tools))
        for move in in_hand.moves:
            played = moved(played, move.step, move.belief)
        if seen_of(played) != in_hand.seen:
            trouble = "other readings than before"
    except FaultnetError as error:
        trouble = str(error)
    if trouble:
        raise StoreError(
            "the car in hand is no longer the one that was begun: the program or the prior set changed since",
            where=in_hand.ticket.words, got=trouble, to_do="give it up and begin another; the cars so far are kept",
        )  # fmt: skip
    return played


def first_number(progress: Progress, world: str = "matched", difficulty: str = "easy") -> int:
    """The first number from 1 that was not played yet in a world and difficulty, the car in hand counted as none.

    Examples
    --------
    >>> first_number(Progress())
    1
    """
    if progress.in_hand is not None and (progress.in_hand.ticket.world, progress.in_hand.ticket.difficulty) == (
        world,
        difficulty,
    ):
        return progress.in_hand.ticket.number
    tickets = {car.ticket for car in progress.cars}
    return next(n for n in range(1, len(tickets) + 2) if Ticket(world, difficulty, n) not in tickets)


def _record(in_hand: InHand) -> dict[str, Any]:
    names = {kind: name for name, kind in STEPS.items()}
    moves = [{"do": names[type(m.step)], **asdict(m.step), "belief": m.belief} for m in in_hand.moves]
    tools = None if in_hand.tools is None else list(in_hand.tools)
    return {"ticket": asdict(in_hand.ticket), "tools": tools, "moves": moves, "seen": in_hand.seen}


def _in_hand(record: dict[str, Any]) -> InHand:
    moves = []
    for line in record["moves"]:
        fields = dict(line)
        kind, belief = STEPS[fields.pop("do")], fields.pop("belief")
        moves.append(Move(kind(**fields), None if belief is None else float(belief)))
    tools = None if record["tools"] is None else tuple(str(t) for t in record["tools"])
    return InHand(Ticket(**record["ticket"]), tools, tuple(moves), str(record["seen"]))


def _checksum(kept: Any) -> str:
    """SHA-256 of plain data, however they are laid out."""
    text = json.dumps(kept, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()
