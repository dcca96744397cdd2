"""Practice: a virtual car to learn on, scored beside the advice on the same car.

:mod:`~faultnet.practice.cars` says which car; :mod:`~faultnet.practice.courses` holds ten set ones with classic traps;
:mod:`~faultnet.practice.play` works on it in the workshop of the trials, at its prices; what is drawn depends on what
is done and not on when, so that every player faces the same car. :mod:`~faultnet.practice.knowing` is the player who
knows the fault, :mod:`~faultnet.practice.review` holds a play beside his and beside the advice's, and
:mod:`~faultnet.practice.progress` keeps it all in one file.
"""
