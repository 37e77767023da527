"""The run afterwards."""
