"""``python -m faultnet``: the same as the command `faultnet`."""

from faultnet.cli import main

main()
