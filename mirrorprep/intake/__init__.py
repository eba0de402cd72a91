"""Scan files in: formats, units, identity."""
