"""Case files and the store they are kept in.

A case file (:mod:`~faultnet.cases.file`) is one case as JSON or hand-written YAML, checked field by field by the
forms of :mod:`~faultnet.cases.form`. The store (:mod:`~faultnet.cases.store`) keeps many cases as append-only lists
of events, in SQLite or PostgreSQL.
"""
