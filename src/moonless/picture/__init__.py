"""A radar read from the picture of its screen: where the scope is, what its colours mean, how far and which way.

    geometry                               where the scope lies, by its rings; unrolled and laid flat
    bearing, digits                        the bow, the figures
    colours, lay, look, types              strength, a turn of the antenna, all of it together
    stream, watch, camera                  frame after frame

Pictures are (height, width, 3) arrays of octets in the order blue, green, red, as OpenCV has them.
"""
