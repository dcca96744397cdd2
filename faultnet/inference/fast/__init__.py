"""What makes inference quick, with the answers of :mod:`faultnet.inference.plain`; tests hold both equal.

A question goes through these modules in order:

1. :mod:`~faultnet.inference.fast.subset`: for which hypotheses and states of charge it is asked, cluster by cluster;
2. :mod:`~faultnet.inference.fast.messages`: each cluster bound to the configurations of its components that occur, the
   row of each hypothesis among them, and what the readings say (likelihood factors, messages);
3. :mod:`~faultnet.inference.fast.query`: what tests would show under these readings, for configurations not met yet,
   and by :mod:`~faultnet.inference.fast.support` only over the hidden states that are likely;
4. :mod:`~faultnet.inference.fast.prepare` and :mod:`~faultnet.inference.fast.schedule`: in which order to multiply;
5. :mod:`~faultnet.inference.fast.products`: the contraction itself, of the tables of
   :mod:`~faultnet.inference.fast.clique_tables`.

All that is kept from one question to the next lies in :mod:`~faultnet.inference.fast.query_cache`.
"""
