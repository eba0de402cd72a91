"""Checking and mending of scans."""
