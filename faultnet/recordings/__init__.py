"""Recordings: from a voltage log to readings one can trust.

The flow, and the modules in its order:

* :mod:`~faultnet.recordings.sources` opens a path, bytes or a stream and undoes gzip;
* :mod:`~faultnet.recordings.cells`, :mod:`~faultnet.recordings.layout`, :mod:`~faultnet.recordings.columns`,
  :mod:`~faultnet.recordings.clocks` and :mod:`~faultnet.recordings.text` read text in columns,
  :mod:`~faultnet.recordings.mdf` reads ASAM MDF 4 and :mod:`~faultnet.recordings.can_log` CAN logs;
* :mod:`~faultnet.recordings.cleaning` and :mod:`~faultnet.recordings.reduction` bring samples into order and bound
  memory, and :func:`read_recording` (:mod:`~faultnet.recordings.reading`) gives a
  :class:`Trace` with every repair said;
* :mod:`~faultnet.recordings.levels`, :mod:`~faultnet.recordings.starts`, :mod:`~faultnet.recordings.spectrum` and
  :mod:`~faultnet.recordings.measuring` serve :func:`find_events` (:mod:`~faultnet.recordings.finding`);
* :func:`lowest_uncertainty` (:mod:`~faultnet.recordings.uncertainty`) says what the sampling may have missed,
  :func:`readings_from` (:mod:`~faultnet.recordings.readings`) offers readings in the terms of the catalogue
  (:mod:`~faultnet.recordings.entries`), :func:`draw_trace`
  (:mod:`~faultnet.recordings.picture`) draws, :func:`picture_png` (:mod:`~faultnet.recordings.png`) renders that;
* :mod:`~faultnet.recordings.simulation` makes up recordings with known truth, and
  :mod:`~faultnet.recordings.generate` writes the example files.

Examples
--------
>>> trace = read_recording(b"time [s];voltage [V]\\n0,0;12,6\\n0,5;12,6\\n1,0;10,9\\n1,5;10,8\\n2,0;14,1\\n2,5;14,2\\n")
>>> [event.outcome for event in find_events(trace) if isinstance(event, Start)]
['good']
"""

from __future__ import annotations

from faultnet.recordings.entries import entry_of, not_offered
from faultnet.recordings.events import Charging, Decline, DropOut, Event, Rest, Start
from faultnet.recordings.finding import find_events
from faultnet.recordings.picture import draw_trace
from faultnet.recordings.png import picture_png
from faultnet.recordings.reading import FORMATS, format_of, list_channels, read_recording
from faultnet.recordings.readings import readings_from
from faultnet.recordings.trace import Trace, decimate
from faultnet.recordings.uncertainty import LowestUncertainty, lowest_uncertainty

__all__ = [
    "FORMATS",
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
