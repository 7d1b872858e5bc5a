"""Staged tables that are made from fields.csv: what could not be read, how much was given."""
