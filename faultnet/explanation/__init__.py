"""Explaining a verdict beyond the weight of each entry: what would overturn it, and which prior it hangs on."""

from faultnet.explanation.hinges import Hinge, Overturning, hinge, hinge_words, overturning, overturning_words

__all__ = ["Hinge", "Overturning", "hinge", "hinge_words", "overturning", "overturning_words"]
