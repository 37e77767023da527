"""Recorded radar and detections of real water."""
