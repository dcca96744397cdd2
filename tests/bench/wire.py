"""Many at once without a browser: people who speak to the server as the page in a browser does, so that it alone works.

``python -m tests.bench.wire [SESSIONS] [SECONDS]`` opens that many sessions on cars of their own (20), on each of which
the test on the card is answered as on a sound car and then thought about for 10 to 20 seconds drawn at random (600 s).
What :mod:`tests.bench.sessions` does with pages that are drawn, in the protocol of the server library alone, as the
browser would take as much of the two cores as the server. Two times run from sending an entry: until the message comes
that it is stored, beside which the new causes stand, and until the last part of the picture came. An answer that is not
whole within a minute is counted as lost.
"""

from __future__ import annotations

import asyncio
import html
import os
import random
import re
import sys
import time
from pathlib import Path
from typing import Any

from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from websockets.asyncio.client import ClientConnection, connect

HERE = Path(__file__).resolve().parent
if str(HERE.parents[1]) not in sys.path:
    sys.path.insert(0, str(HERE.parents[1]))

from tests.bench.sessions import LOST, THOUGHT, below, memory, one_case, told, worked_for  # noqa: E402
from tests.ui.server import Served, serving  # noqa: E402

FIELD = re.compile(r"\$\$ID-[0-9a-f]+-(.+)")
HEADING = re.compile(r"<div class='fn-test'>.*?<h2>(.*?)</h2>", re.DOTALL)
TAG = re.compile(r"<[^>]*>")
SOUND = re.compile(r"<span class='sound'>(.*?)</span>")


class Picture:
    """What a run of the page sent: its fields and buttons by name, and its texts."""

    def __init__(self) -> None:
        self.ids: dict[str, str] = {}
        self.texts: list[str] = []

    def take(self, element: Any) -> None:
        """Note one element."""
        kind = element.WhichOneof("type")
        if kind in ("button", "text_input"):
            named = FIELD.fullmatch(getattr(element, kind).id)
            if named is not None:
                self.ids[named[1]] = getattr(element, kind).id
        elif kind in ("html", "markdown"):
            self.texts.append(element.html.body if kind == "html" else element.markdown.body)

    def said(self) -> str:
        """The newest text, without markup."""
        return html.unescape(TAG.sub("", self.texts[-1]))

    def found(self, pattern: re.Pattern[str]) -> str | None:
        """What a pattern finds first in its texts."""
        return next((m[1] for t in self.texts if (m := pattern.search(t))), None)


class Session:
    """One connection, with the picture it shows."""

    def __init__(self, open_page: ClientConnection, case_id: str) -> None:
        self._open = open_page
        self.query = f"case={case_id}"
        self._page = ""
        self.picture = Picture()

    async def run(self, states: dict[str, Any], said: str | None = None) -> tuple[float | None, float]:
        """Have the page run; seconds until it said something, and until it was whole.

        Parameters
        ----------
        states : mapping
            A text, or True for a press, by the id of a field or button.
        said : str, optional
        """
        message = BackMsg()
        client = message.rerun_script
        client.query_string, client.page_script_hash = self.query, self._page
        client.widget_states.SetInParent()
        for name, value in states.items():
            state = client.widget_states.widgets.add(id=name)
            if value is True:
                state.trigger_value = True
            else:
                state.string_value = value
        begun, seen = time.monotonic(), None
        await self._open.send(message.SerializeToString())
        while True:
            answer = ForwardMsg()
            answer.ParseFromString(await self._open.recv())  # type: ignore[arg-type]  # bytes, as it is no text
            kind = answer.WhichOneof("type")
            if kind == "new_session":
                self._page, self.picture = answer.new_session.page_script_hash, Picture()
            elif kind == "delta" and answer.delta.WhichOneof("type") == "new_element":
                self.picture.take(answer.delta.new_element)
                if seen is None and said is not None and self.picture.texts and said in self.picture.said():
                    seen = time.monotonic() - begun
            elif kind == "script_finished" and answer.script_finished != ForwardMsg.FINISHED_EARLY_FOR_RERUN:
                return seen, time.monotonic() - begun

    async def answered(self) -> tuple[float, float] | None:
        """Answer the test on the card as on a sound car; None where no test is left."""
        heading = self.picture.found(HEADING)
        if heading is None:
            return None
        heading = html.unescape(TAG.sub("", heading))
        sound, ids = self.picture.found(SOUND), self.picture.ids
        choices = [name for name in ids if name.startswith("answer_")]
        if choices:
            states: dict[str, Any] = {ids[choices[0]]: True}
        elif sound is not None:
            enter = next(ids[name] for name in ids if name.startswith("enter_"))
            states = {ids["entry"]: sound.split(" to ")[0].removeprefix("under "), enter: True}
        else:
            states = {ids["not_skipped"]: True}
        seen, whole = await self.run(states, f"Stored: {heading}")
        if seen is None:
            raise RuntimeError(f"{heading}: sent, and nothing said that it is stored")
        return seen, whole


class Tally:
    """What came of all entries; `rounds` are those that are not the first on their car."""

    def __init__(self) -> None:
        self.rounds: list[tuple[float, float]] = []
        self.firsts: list[tuple[float, float]] = []
        self.lost: list[str] = []


async def person(served: Served, number: int, sessions: int, until: float, tally: Tally) -> None:
    """Answer tests with time to think in between, on one car after the other."""
    draw = random.Random(number)
    await asyncio.sleep(draw.uniform(0.0, THOUGHT[1]))
    while time.monotonic() < until:
        case_id = await asyncio.to_thread(served.keep, one_case(number))
        number += sessions
        address = f"ws{served.address[4:]}/_stcore/stream"
        async with connect(address, origin=served.address, max_size=None, proxy=None) as open_page:  # type: ignore[arg-type]  # any text
            session = Session(open_page, case_id)
            await session.run({})
            rounds = tally.firsts
            while time.monotonic() < until:
                await asyncio.sleep(draw.uniform(*THOUGHT))
                try:
                    times = await asyncio.wait_for(session.answered(), LOST)
                except (TimeoutError, RuntimeError) as error:
                    tally.lost.append(str(error) or "not whole within a minute")
                    break
                if times is None:
                    break
                rounds.append(times)
                rounds = tally.rounds


async def thinking(served: Served, sessions: int, seconds: float) -> Tally:
    """All of them at once; memory is printed each minute."""
    tally, until = Tally(), time.monotonic() + seconds
    people = [asyncio.create_task(person(served, n, sessions, until, tally)) for n in range(sessions)]
    while time.monotonic() < until:
        await asyncio.sleep(min(60.0, max(until - time.monotonic(), 0.0)))
        entries = f"{len(tally.firsts)} first and {len(tally.rounds)} later entries"
        print(f"    {entries}, server {memory(served.process):.0f} MB", flush=True)
    await asyncio.gather(*people)
    return tally


def run(sessions: int, seconds: float) -> None:
    """Measure so many sessions for so long."""
    with serving() as served:
        before = worked_for(below(served.process)), time.process_time()
        tally = asyncio.run(thinking(served, sessions, seconds))
        server = worked_for(below(served.process)) - before[0]
        ours = time.process_time() - before[1]
        everything = [*tally.firsts, *tally.rounds]
        each = max(len(everything), 1)
        for what, rounds in (("all", everything), ("first on a car", tally.firsts), ("later", tally.rounds)):
            if rounds:
                told(f"{sessions} with time to think, {what}", rounds)
        print(f"    {len(everything)} entries, {len(tally.lost)} lost {tally.lost[:5]}; "
              f"processor time for an entry: server {server / each:.2f} s, this script {ours / each:.2f} s; "
              f"server {memory(served.process):.0f} MB; load average {os.getloadavg()[0]:.1f}", flush=True)  # fmt: skip


if __name__ == "__main__":
    given = [float(word) for word in sys.argv[1:]]
    run(int(given[0]) if given else 20, given[1] if len(given) > 1 else 600.0)
