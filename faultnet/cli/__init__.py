"""The command `faultnet`: the verbs of the library on the command line, with no logic of its own.

Each command reads its input (:mod:`~faultnet.cli.inputs`), calls one function of the library, and prints the answer
as JSON (:mod:`~faultnet.cli.answers`) or as text of at most 80 columns (:mod:`~faultnet.cli.sheets`). Exit status: 0
answered; 2 the input is wrong, with one message on standard error and nothing on standard output.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from typing import NoReturn

from faultnet.errors import FaultnetError


def main(arguments: Sequence[str] | None = None) -> NoReturn:
    """Run the command line and leave with its exit status.

    Parameters
    ----------
    arguments : sequence of str, optional
        Those of the process when left out.

    Raises
    ------
    SystemExit
        Always: status 0 answered, 2 wrong input.
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # small products: a second thread only waits on a busy machine
    from faultnet.cli.commands import app

    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # a terminal without an ohm sign must not end in a traceback
    try:
        app(args=None if arguments is None else list(arguments), prog_name="faultnet")
    except FaultnetError as error:
        sys.stderr.write(f"faultnet: {error}\n")
        sys.exit(2)
    sys.exit(0)
