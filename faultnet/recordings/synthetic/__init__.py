"""Synthetic recordings whose truth is known."""
