"""A way sought over squares of water, from one place to another."""
