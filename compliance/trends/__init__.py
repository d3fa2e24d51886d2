"""What counts of pests mean: how much was looked at, what is usual, what stands out, what helped.

Pure: no Django, no clock, no settings, no database. Dataclasses go in and come out; inside are
numpy arrays. A rate is individuals per 100 trap-days. Days are dates in the site's own zone, a
month is ``(year, month)``. Runs in a notebook::

    >>> from compliance.trends.rates import rate, rate_words
    >>> rate_words(rate(0, 30.0))
    'None in 30 trap-days. That still allows about 10 per 100 trap-days.'

scipy is loaded by the functions that need it, when they are called, so that pages without figures
do not wait for it. Steps: docs/algorithms/rates-and-effects.md, and trends.md for the alarms.
"""
