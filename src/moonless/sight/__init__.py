"""The one line of sight over land and structures: which edges a line from a place crosses, and how far off.

The radar's sweep, the water the live reading calls hidden, the points that open along a way and the lights that a leg
sees all ask here.  One kernel (`crossing_kernels`) does the work; `reference` is its definition.
"""
