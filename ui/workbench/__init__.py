"""What the pages of the front end share: state, cached answers, words, and small drawing functions.

The folder is put on the path by ``app.py`` and not installed as a package of its own, so that it works in a checkout
and inside the wheel alike.
"""
