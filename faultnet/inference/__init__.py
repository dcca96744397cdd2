"""Exact inference over combinations of a few faults; knows a network only by its form."""
