"""Compiled models of visits, kept in memory: the same car under the same conditions is compiled once.

Once a question is answered (:func:`keep_room`) its model keeps the answers it worked out for the tests, some ten
megabytes, and drops the products they came from, which are ten times as large and soon multiplied again. Those used
last keep their answers as far as :data:`ROOM` allows, and those of the last minute as far as :data:`LATELY_ROOM`;
the others rest, which costs a fifth of a second when they are asked again.
"""

from __future__ import annotations

import contextlib
import ctypes
import gc
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from faultnet.case.types import Car, Conditions
from faultnet.diagnosis.shown import Shown
from faultnet.inference.fast.bounded_cache import Memo
from faultnet.inference.hypotheses import Hypotheses, ModeTable, enumerate_hypotheses
from faultnet.inference.visit import VisitModel, compile_visit
from faultnet.model.cache import network_for, setting_key
from faultnet.model.network import Array, Network
from faultnet.model.setting import Setting
from faultnet.prior_set.catalogue import Catalogue

UNCOUNTED = ("use",)
MAY_DROP = 8e-4
KEPT = 24
KEPT_TABLES = 8
KEPT_SPACES = 6
ROOM = LATELY_ROOM = 128 << 20
LATELY = 60.0  # [s] longer than people think and wait between two entries, when many begin at once


@dataclass(eq=False)
class Use:
    """When a model was last asked for [s], and what it then held once it was trimmed [byte]; None until it is."""

    asked: float = 0.0
    size: int | None = None


@dataclass(frozen=True, eq=False)
class Model:
    """One visit's setting with its network compiled for all hypotheses."""

    setting: Setting
    space: Hypotheses
    compiled: VisitModel
    shown: Shown = field(default_factory=Shown, repr=False)
    use: Use = field(default_factory=Use, repr=False)
    _tables: Memo[Array] = field(default_factory=lambda: Memo(KEPT_TABLES), repr=False)

    def compiled_for(self, table: ModeTable) -> VisitModel:
        """Compiled for the configurations of a table, which begins with the hypotheses and may hold more."""
        return self.compiled if len(table) == len(self.compiled.modes) else self.compiled.entered(table.modes)

    def charge_after(self, what: Callable[..., Array], *known: object) -> Array:
        """A table of :mod:`faultnet.model.balance` for this setting and what is known; kept for the next time."""
        return self._tables.get((what.__name__, known), lambda: what(self.setting, *known))


_lock, _building = threading.Lock(), threading.Lock()
_models: OrderedDict[tuple[str, int], Model] = OrderedDict()
_spaces: Memo[Hypotheses] = Memo(KEPT_SPACES)


def model_for(car: Car, conditions: Conditions, catalogue: Catalogue, max_faults: int) -> Model:
    """The compiled model of a visit; immutable, so sessions in several threads may share it.

    Parameters
    ----------
    car : Car
    conditions : Conditions
    catalogue : Catalogue
    max_faults : int
        Largest number of faults at once.
    """
    setting = Setting(car, conditions, catalogue)
    key = (setting_key(setting), max_faults)
    with _lock:
        model = _models.get(key)
    if model is None:
        with _building:  # one after the other: several at once take as long in all, and each holds what it works with
            with _lock:
                model = _models.get(key)
            if model is None:
                model = _compiled(setting, max_faults)
    with _lock:
        model = _models.setdefault(key, model)
        model.use.asked, model.use.size = time.monotonic(), None
        _models.move_to_end(key)
        while len(_models) > KEPT:
            _models.popitem(last=False)
        _put_to_rest(list(_models.values()))
    return model


def keep_room(worked_on: Iterable[Model] = ()) -> None:
    """Once work on models is done, let them drop what is soon worked out again, and some rest as :data:`ROOM` asks.

    Parameters
    ----------
    worked_on : iterable of Model
        Those asked for since the last time are seen to anyway; others come here, that were worked on after that.
    """
    with _lock:
        models = list(_models.values())
    given = set(map(id, worked_on))
    for model in models:
        if model.use.size is None or id(model) in given:
            model.compiled.trim()
            model.use.size = model.compiled.size()
    with _lock:
        _put_to_rest(models)


def rest_all() -> None:
    """Let every model rest, and give what they held back to the machine: for a process that goes on for long.

    A car worked through takes up to a gigabyte while it is worked on; at rest all models of a trial take some hundred
    megabytes. They are woken when they are asked again, which changes no answer.
    """
    with _lock:
        for model in _models.values():
            _rest(model)
    gc.collect()
    hand_on()


def hand_on() -> None:
    """Let the allocator give free pages back to the machine, where it is one that can (the GNU C library)."""
    with contextlib.suppress(OSError, AttributeError, TypeError):
        ctypes.CDLL(None).malloc_trim(0)


def _put_to_rest(models: list[Model]) -> None:
    """Let the models used longest ago drop what they worked out while all take too much; never the last one."""
    taken, now = 0, time.monotonic()
    for model in reversed(models):
        taken += model.compiled.size() if model.use.size is None else model.use.size
        room = LATELY_ROOM if now - model.use.asked < LATELY else ROOM
        if taken > room and model is not models[-1] and model.use.size != 0:
            _rest(model)


def _rest(model: Model) -> None:
    model.compiled.rest()
    model.use.size = 0


def _compiled(setting: Setting, max_faults: int) -> Model:
    network = network_for(setting)
    space = _space_of(network, max_faults, setting.number("brought_in_when_sound"))
    return Model(setting, space, compile_visit(network, space.components, space.modes))


def _space_of(network: Network, max_faults: int, brought_in_when_sound: float) -> Hypotheses:
    """Hypotheses of a car, listed once for all cars of the same base rates: cars of one age and climate share them."""
    rates = tuple((n, network.nodes[n].parents, network.nodes[n].table.tobytes()) for n in network.components)
    return _spaces.get(
        (rates, max_faults, brought_in_when_sound),
        lambda: enumerate_hypotheses(
            network,
            max_faults=max_faults,
            uncounted=UNCOUNTED,
            brought_in_when_sound=brought_in_when_sound,
            may_drop=MAY_DROP,
        ),
    )
