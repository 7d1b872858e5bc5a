"""Summaries made in Python: thin tables over pipeline.statistics."""
