"""Units, and readings as people type them.

:mod:`~faultnet.units.table` holds the units and converts; :mod:`~faultnet.units.typed` reads typed text.

Examples
--------
>>> parse_entry("350 mV", "V").value, format_quantity(0.35, "mV")
(0.35, '350 mV')
"""

from __future__ import annotations

from faultnet.units.table import UNITS, Unit, exact_from_si, find_unit, format_quantity, from_si, to_si
from faultnet.units.typed import ParsedEntry, parse_entry, refuse_other_quantity

__all__ = [
    "UNITS",
    "ParsedEntry",
    "Unit",
    "exact_from_si",
    "find_unit",
    "format_quantity",
    "from_si",
    "parse_entry",
    "refuse_other_quantity",
    "to_si",
]
