"""A second world of virtual cars, by other equations, other handbooks and other habits than the product's.

It imports nothing of the product's physics, model or tables of effects; from the prior set it takes ids, the plausible
range of a number and the base rates, and nothing else. What is in it:

* :mod:`~faultnet.simulation.independent.numbers` reads ``numbers.csv``, every number with its range, mark and source;
* :mod:`~faultnet.simulation.independent.battery` has six cells, :mod:`~faultnet.simulation.independent.starting` solves
  a start in time, :mod:`~faultnet.simulation.independent.charging` the charging side;
* :mod:`~faultnet.simulation.independent.parts` gives each component its condition,
  :mod:`~faultnet.simulation.independent.faults` which faults meet in a car;
* :mod:`~faultnet.simulation.independent.vehicle` holds a car, :mod:`~faultnet.simulation.independent.life` lives with
  it for weeks and writes its :mod:`~faultnet.simulation.independent.log`;
* :mod:`~faultnet.simulation.independent.readings` and :mod:`~faultnet.simulation.independent.answers` say what a test
  gives, :mod:`~faultnet.simulation.independent.acts` what an act does;
* :mod:`~faultnet.simulation.independent.world` draws cars and brings them in.

No number of it is fitted to how the product does on it.
"""
