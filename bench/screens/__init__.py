"""Radar screens that nobody makes, and a camera that was not there: for the tests and figures of the picture door."""
