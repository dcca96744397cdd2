"""Expectation and maximisation: cases to expected counts, counts to better numbers, and how sure these are."""
