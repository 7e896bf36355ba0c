import pkgutil
import subprocess
import sys

from outcomes import estimators

HEAVY = ("django", "pandas", "plotly", "scipy.optimize", "scipy.stats", "statsmodels")


def test_importing_every_estimator_loads_nothing_heavy():
    """The entry pages share a process with the reports; in a fresh one, so that other tests do not count."""
    names = [f"outcomes.estimators.{module.name}" for module in pkgutil.iter_modules(estimators.__path__)]
    program = f"import sys, {', '.join(names)}; print([m for m in {HEAVY} if m in sys.modules])"
    found = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "[]"
