"""Wild scenes: drawn at random from ranges far wider than the program's own physics, by a drawer that knows none of it.

Nothing here imports `moonless.radar`: the truth video of a wild scene must not be made by the model that reads it.
"""
