"""Events: starts, charging, rests and drop-outs in a trace, and the readings they give."""
