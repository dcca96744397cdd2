"""Probabilistic fault isolation for the 12 V starting and charging system of a car.

The package is laid out in the order in which a diagnosis flows, and imports only run that way:

    errors, units, case     what a case is made of, its file and its store
    physics                 circuit and battery equations, no probability
    prior_set               components, tests, acts, instruments and priors, read from data and validated
    instruments             a reading becomes a likelihood
    recordings              a voltage log becomes readings
    model                   the Bayesian network of one car under one visit's conditions
    inference               exact inference on it
    diagnosis               a case goes in; causes, reasons and next tests come out
    decision                what that is worth: the next test, the repair, when to stop
    learning                closed cases tune the prior set
    simulation              virtual cars with known faults, to try the advice on
    report, cli             sheets to print, and the same verbs on the command line

Nothing here prints, logs or imports the front end.
"""

__version__ = "0.1.0"
