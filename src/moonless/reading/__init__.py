"""Tracks and chart to the reading.

`moonless.reading.judge.Judge` turns a `Situation` into a `Reading`; everything shown, spoken, logged or sent is made
from readings.
"""
