"""What came of a trial: scores, tables, reliability, and records of single cars."""
