"""Checks, findings and the rows set aside."""
