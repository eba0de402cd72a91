"""Placing the mirrored part on the recipient surface."""
