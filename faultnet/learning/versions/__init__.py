"""Tuned prior sets in versions: written, accepted, compared, taken back."""
