"""Benchmarks: ratios against a peer or against real time, one JSON object a line."""
