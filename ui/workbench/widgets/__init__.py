"""Small drawing functions: each takes plain values and gives HTML, or puts one group of controls on the page."""
