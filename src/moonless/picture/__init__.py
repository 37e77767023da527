"""A radar read from the picture of its screen: where the scope is, what its colours mean, how far and which way.

    plane, edges, centre, square, find     where the scope lies, by its rings
    scope, bearing, upright, digits        unrolled and laid flat: the bow, the figures
    colours, lay, look, types              strength, a turn of the antenna, all of it together
    stream, camera                         frame after frame

Pictures are (height, width, 3) arrays of octets in the order blue, green, red, as OpenCV has them.
"""
