"""The run afterwards: what happened, by what was told and what was done."""
