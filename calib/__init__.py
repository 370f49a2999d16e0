"""What is known about one instrument, and from pixels to heights on its scale.

Knows millimetres and uncertainty components; never fluids or pressure.
"""
