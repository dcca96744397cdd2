"""Case histories as tables: CSV, plain or packed, and Parquet."""
