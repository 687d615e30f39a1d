"""Pure radio physics: floats in, floats out, each formula with its published source.

Nothing here knows a store, a file or a database. Sums use ``math.fsum``, whose result does not
depend on the order of its terms, so the same readings give the same bits whatever order they
arrive in.
"""
