"""Case history, and prior sets tuned from it.

What is asked and answered stands in :mod:`~faultnet.learning.result`; :func:`faultnet.learning.tune.tune` takes closed
cases (``outcome`` set: the causes are confirmed; ``outcome`` None: they are missing) and a catalogue.
"""
