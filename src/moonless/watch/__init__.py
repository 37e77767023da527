"""The one chain from bytes to readings, live and replayed."""
