"""Scan to plots."""
