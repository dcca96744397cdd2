"""The store of cases: append-only lists of events, in SQLite or PostgreSQL (:mod:`~faultnet.case.store.store`)."""
