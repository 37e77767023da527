"""Codecs and links: bytes in, events out."""
