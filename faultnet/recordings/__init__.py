"""Recordings: from a voltage log to readings one can trust.

The flow, and the modules in its order:

* :mod:`~faultnet.recordings.readers.sources` opens a path, bytes or a stream and undoes gzip;
* :mod:`~faultnet.recordings.readers.cells`, :mod:`~faultnet.recordings.readers.layout`,
  :mod:`~faultnet.recordings.readers.columns`, :mod:`~faultnet.recordings.readers.clocks` and
  :mod:`~faultnet.recordings.readers.text` read text in columns, :mod:`~faultnet.recordings.readers.mdf` reads ASAM
  MDF 4 and :mod:`~faultnet.recordings.readers.can_log` CAN logs;
* :mod:`~faultnet.recordings.readers.clean` and :mod:`~faultnet.recordings.readers.reduction` bring samples into order
  and bound memory, and :func:`read_recording` (:mod:`~faultnet.recordings.readers.read`) gives a :class:`Trace` with
  every repair said;
* :mod:`~faultnet.recordings.events.levels`, :mod:`~faultnet.recordings.events.starts`,
  :mod:`~faultnet.recordings.events.spectrum` and :mod:`~faultnet.recordings.events.measure` serve :func:`find_events`
  (:mod:`~faultnet.recordings.events.find`);
* :func:`lowest_uncertainty` (:mod:`~faultnet.recordings.events.uncertainty`) says what the sampling may have missed,
  :func:`readings_from` (:mod:`~faultnet.recordings.events.readings`) offers readings in the terms of the catalogue
  (:mod:`~faultnet.recordings.events.entries`), :func:`draw_trace` (:mod:`~faultnet.recordings.picture`) draws,
  :func:`picture_png` (:mod:`~faultnet.recordings.png`) renders that;
* :mod:`~faultnet.recordings.synthetic.simulate` makes up recordings with known truth, and
  :mod:`~faultnet.recordings.synthetic.generate` writes the example files.

Examples
--------
>>> trace = read_recording(b"time [s];voltage [V]\\n0,0;12,6\\n0,5;12,6\\n1,0;10,9\\n1,5;10,8\\n2,0;14,1\\n2,5;14,2\\n")
>>> [event.outcome for event in find_events(trace) if isinstance(event, Start)]
['good']
"""

from __future__ import annotations

from faultnet.recordings.events.entries import entry_of, not_offered
from faultnet.recordings.events.find import find_events
from faultnet.recordings.events.readings import readings_from
from faultnet.recordings.events.types import START_WORDS, Charging, Decline, DropOut, Event, Rest, Start
from faultnet.recordings.events.uncertainty import LowestUncertainty, lowest_uncertainty
from faultnet.recordings.picture import draw_trace
from faultnet.recordings.png import picture_png
from faultnet.recordings.readers.read import FORMATS, format_of, list_channels, read_recording
from faultnet.recordings.trace import Trace, decimate

__all__ = [
    "FORMATS",
    "START_WORDS",
    "Charging",
    "Decline",
    "DropOut",
    "Event",
    "LowestUncertainty",
    "Rest",
    "Start",
    "Trace",
    "decimate",
    "draw_trace",
    "entry_of",
    "find_events",
    "format_of",
    "list_channels",
    "lowest_uncertainty",
    "not_offered",
    "picture_png",
    "read_recording",
    "readings_from",
]
