"""Plots to tracks over the ground."""
