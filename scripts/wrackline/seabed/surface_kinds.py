"""Values of the band `surface`: what a cell's height is the height of."""

BED, CANOPY, STRUCTURE = 1, 2, 3
"""The bed; plants, a shoal or other things above a bed that wasn't seen there; what stands above
the ground around it."""
