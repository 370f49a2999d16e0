"""Heights in, pressure with uncertainty out; no picture needed.

Read in this order: ``legs`` (the chain from tapping to reference), ``arrangements`` (which
chain an instrument makes), ``manometer`` (what is known about it), ``prepare`` (the chain
laid, defaults applied), ``reduction`` (pressure as a function of the inputs), ``uncertainty``
and ``montecarlo`` (the budget), ``working`` (the chain written out).
Everything is SI floats; the same functions take numpy arrays and uncertain numbers.
"""
