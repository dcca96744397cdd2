"""Readers: from a file in any supported format to one clean trace."""
