from outcomes.handbook.source import Module

CODE = '''"""Words."""
class Result(Estimate):
    """A result."""
    events: int
def found(x: int, *, level: float = 0.95) -> Result:
    """Find it."""
def _hidden(): ...
'''


def test_reads_public_parts_only(tmp_path):
    (tmp_path / "rates.py").write_text(CODE, encoding="utf-8")
    module = Module(tmp_path / "rates.py")
    assert (module.name, module.words) == ("rates", "Words.")
    assert [(f.signature, f.words) for f in module.functions] == [
        ("found(x: int, *, level: float=0.95) -> Result", "Find it.")
    ]
    assert [(r.name, r.signature) for r in module.results] == [("Result", "events")]
