"""Pictures and sheets of a case: SVG, and HTML that prints well on A4 and Letter; nothing here needs a browser.

* :mod:`~faultnet.report.strips`: each reading beside the range of a sound car;
* :mod:`~faultnet.report.beliefs`: the course of belief over the entries;
* :mod:`~faultnet.report.links`: what was read, and what it moved;
* :mod:`~faultnet.report.timeline`: the visits, with what was done and what led after each;
* :mod:`~faultnet.report.sheet`, :mod:`~faultnet.report.blank` and :mod:`~faultnet.report.plan`: the job sheet, the
  sheet to take to the car, and the pocket plan; :mod:`~faultnet.report.pdf` makes PDF files of them.
"""

from __future__ import annotations

from faultnet.report.beliefs import course_of_belief, draw_course
from faultnet.report.blank import blank_sheet
from faultnet.report.links import draw_links
from faultnet.report.pdf import sheet_pdf
from faultnet.report.plan import plan_sheet
from faultnet.report.sheet import job_sheet
from faultnet.report.strips import Strip, draw_strip, strips_of
from faultnet.report.timeline import Stop, draw_timeline, stops_of

__all__ = [
    "Stop",
    "Strip",
    "blank_sheet",
    "course_of_belief",
    "draw_course",
    "draw_links",
    "draw_strip",
    "draw_timeline",
    "job_sheet",
    "plan_sheet",
    "sheet_pdf",
    "stops_of",
    "strips_of",
]
