"""Ghosts: echoes that are not where they seem, by what must throw them.

Held against where each strong echo would throw one, the densities of ghosts stand beside those of the real things.

    repeats         to and fro between the boat and something large: twice or thrice its range, on its bearing
    hulls           off a long hull's side: on her bearing, behind her by as much as the thing is away from her
    walls           in a charted bridge or quay: the mirror image of the thing
    own_mast        on one bearing from the bow, at the range of the thing, so that it seems to run along
    second_traces   a pulse interval farther off than it seems: its bearing keeps and it seems to run beside the boat
    side_lobes      at the range of something very strong, on any bearing, weaker by what the lobes are there and back
"""
