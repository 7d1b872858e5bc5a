"""Outcomes and quality audit for guided two-implant lower overdentures."""
