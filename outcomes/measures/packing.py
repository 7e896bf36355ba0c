"""Keys of records kept in little memory, for figures that may never be opened to their cases."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from outcomes.estimators.arrays import Ints

BITS_PER_KEY = 32  # of a key kept as it is
FEW = 16_384  # as many are kept as they are, which takes less time


def packed(pks: Ints) -> Callable[[], Ints]:
    """What gives the keys back; of many of them each once, in ascending order.

    Many become one bit for each number between the least and the greatest, unless four bytes a key (eight
    where they are too large) are fewer.
    """
    if pks.size <= FEW:
        few = pks if pks.base is None else pks.copy()  # a view would hold all that it was taken from
        return lambda: few
    least, greatest = int(pks.min()), int(pks.max())
    span = greatest - least + 1
    if span >= BITS_PER_KEY * pks.size:
        narrow = pks.astype(np.int32 if greatest <= np.iinfo(np.int32).max else np.int64)
        return lambda: narrow.astype(np.int64)
    there = np.zeros(span, dtype=np.bool_)
    there[pks - least] = True
    bits = np.packbits(there)
    return lambda: np.flatnonzero(np.unpackbits(bits, count=span)) + least
