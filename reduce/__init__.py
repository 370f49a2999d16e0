"""Heights in, pressure with uncertainty out; no picture needed.

Read in this order: ``legs`` (the chain from tapping to reference), ``arrangements`` (which
chain an instrument makes), ``manometer`` (everything known about it, defaults applied),
``uncertainty`` and ``montecarlo`` (the budget), ``working`` (the chain written out).
Everything is SI floats; the same functions take numpy arrays and uncertain numbers.
"""
