"""Write docs/coverage.md and its figures."""

from __future__ import annotations

from pathlib import Path

from tests.bench.coverage.study import Part, parts

ROOT = Path(__file__).resolve().parents[3]
WORDS = Path(__file__).with_name("words.md")
FIGURES = ROOT / "docs" / "coverage"


def main() -> None:
    FIGURES.mkdir(exist_ok=True)
    text = [WORDS.read_text(encoding="utf-8")]
    for part in parts():
        (FIGURES / f"{part.name}.svg").write_text(part.drawing, encoding="utf-8")
        text.append(section(part))
        print(f"Written: docs/coverage/{part.name}.svg")
    (ROOT / "docs" / "coverage.md").write_text("\n".join(text), encoding="utf-8")
    print("Written: docs/coverage.md")


def section(part: Part) -> str:
    columns = ["Size", "Method", "Mean coverage", "Lowest coverage", "Truths covered below 93 %"]
    if part.rows[0].width is not None:
        columns.append("Mean width")
    lines = ["| " + " | ".join(columns) + " |", "|" + " --- |" * len(columns)]
    lines += ["| " + " | ".join(row.cells) + " |" for row in part.rows]
    picture = f"![{part.title}: coverage of each interval](coverage/{part.name}.svg)"
    return "\n".join([f"## {part.title}\n", f"{part.tried}\n", f"{picture}\n", *lines, ""])


if __name__ == "__main__":
    main()
