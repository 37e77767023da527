"""Recorded radar detections with GNSS truth: ``python -m bench.autoferry DIR``."""
