"""Scenes scored against their truth: the built-in ones, and random wide ones."""
