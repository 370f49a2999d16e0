"""From a photo to positions in pixels: decoding, graduations, limbs, levels.

Works in pixels of the upright picture alone (``x_px`` to the right, ``y_px`` down, centre of
the first pixel at 0, 0); knows nothing of lengths, liquids or pressures.
"""
