"""Probabilistic fault isolation for the 12 V starting and charging system of a car.

The package is laid out in the order in which a diagnosis flows, and imports only run that way:

    errors, units, car      what a case is made of
    physics                 circuit and battery equations, no probability
    catalogue               components, tests, acts, instruments and priors, read from data and validated
    instruments             a reading becomes a likelihood
    recordings              a voltage log becomes readings
    network                 the Bayesian network of one car under one visit's conditions
    engine                  exact inference on it
    diagnosis               a case goes in; causes, reasons and next tests come out
    cases                   case files and the store
    cli                     the same verbs on the command line

Nothing here prints, logs or imports the front end.
"""

__version__ = "0.1.0"
