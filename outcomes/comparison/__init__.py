"""Axillary against femoral: who is compared, how alike they are, what happened, and what can be concluded."""
