"""The boat and its radar set, read from ``boat.toml``."""
