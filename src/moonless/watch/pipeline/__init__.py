"""Bytes in, turns out: the chain, kept on live links or played again."""
