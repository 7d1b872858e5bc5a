"""Stateless geometry: arrays in, arrays out; many cases at once."""
