"""Generate a size, load it into the scratch server, and keep what the weighted comparison needs.

python -m tests.bench.loads RUNS
"""

from __future__ import annotations

import sys

import numpy as np

from tests.bench import loading


def main(runs: int) -> None:
    loading.set_up()
    from django.utils import timezone

    from outcomes.dataset.clock import minute_of
    from tests.bench.contender import folder
    from tests.bench.generating import generate

    loading.migrate()
    made = generate(runs, now=minute_of(timezone.now()))
    np.savez(
        folder() / f"contrast-{runs}.npz",
        outcome=made.outcome,
        treated=made.treated,
        covariates=made.covariates,
        patient=made.patient,
    )
    loading.load(made.tables)
    print(", ".join(f"{len(rows):,} {name}" for name, rows in made.tables.items()))


if __name__ == "__main__":
    main(int(sys.argv[1]))
