"""Case files and the store they are kept in.

A case file (:mod:`~faultnet.case.file`) is one case as JSON or hand-written YAML, checked field by field by the
forms of :mod:`~faultnet.case.form`. The store (:mod:`~faultnet.case.store.store`) keeps many cases as append-only lists
of events, in SQLite or PostgreSQL.
"""
