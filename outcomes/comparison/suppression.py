"""Hide small counts from those who may not see cases, together with what would give them away.

A count is small when it is from 1 to one below the threshold; zero may be shown. In a table whose parts add
up to a shown total, hiding a small part alone would be pointless: so further parts are hidden until there are
at least two and together they reach the threshold. Then each of them may be anything from 0 to their sum.

These rules are the project's own; what they must achieve is that of the CMS cell size suppression policy
(ResDAC, version of 26-Jan-2024): no count from 1 to the limit shown or derivable, not through percentages.
"""

from __future__ import annotations

from collections.abc import Sequence


def is_small(count: float | None, threshold: int) -> bool:
    """Whether a count must not be seen."""
    return count is not None and 0 < count < threshold


def both_safe(hits: float | None, total: float | None, threshold: int) -> bool:
    """Whether neither those with something nor those without it are few."""
    if hits is None or total is None:
        return False
    return not (is_small(hits, threshold) or is_small(total - hits, threshold))


def hidden_parts(counts: Sequence[int], threshold: int) -> list[bool]:
    """Which parts of a partition with a shown total to hide; all of them if nothing less will do."""
    hidden = [is_small(count, threshold) for count in counts]
    if not any(hidden):
        return hidden
    others = sorted((count, k) for k, count in enumerate(counts) if not hidden[k])
    # Parts of zero would add nothing to hide behind, so they come last.
    others.sort(key=lambda part: (part[0] == 0, part))
    for _, k in others:
        total = sum(count for count, away in zip(counts, hidden, strict=True) if away)
        if sum(hidden) >= 2 and total >= threshold:
            break
        hidden[k] = True
    return hidden
