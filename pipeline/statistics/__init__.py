"""Stateless estimators: arrays in, dataclass out; no DuckDB, no files."""
