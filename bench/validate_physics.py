"""Print how near the model comes to measured series, beside the naive answer: the table of docs/validation.md.

    python -m bench.validate_physics              # for a terminal
    python -m bench.validate_physics --markdown   # as Markdown
    python -m bench.validate_physics --write      # puts it into docs/validation.md

Nothing is fitted, except where the last column says "one number out" or "fitted on". What was assumed stands in the
modules of `bench.validation`, what the figures mean in docs/validation.md.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from pathlib import Path

from bench.validation.heights import profile_rows, soil_rows
from bench.validation.pairs import pair_rows
from bench.validation.scores import Row, as_markdown, as_text
from bench.validation.sky import sky_rows
from bench.validation.towers import alamosa_rows, exchange_rows, tower_rows
from bench.validation.tunnel import tunnel_rows

PARTS: dict[str, Callable[[], list[Row]]] = {
    "sky": sky_rows,
    "towers": tower_rows,
    "exchange": exchange_rows,
    "ground": alamosa_rows,
    "pairs": pair_rows,
    "profile": profile_rows,
    "soil": soil_rows,
    "tunnel": tunnel_rows,
}
"""Parts of the table by name, in its order."""

PAGE = Path(__file__).resolve().parents[1] / "docs" / "validation.md"
BEGIN, END = "<!-- table: python -m bench.validate_physics --write -->\n", "<!-- end of table -->\n"


def table(parts: list[str] | None = None) -> list[Row]:
    """Give the rows of the named parts, or of all."""
    return [row for name in parts or PARTS for row in PARTS[name]()]


def written(page: str, rows: list[Row]) -> str:
    """Give the page with the table between its marks renewed."""
    before, rest = page.split(BEGIN)
    return before + BEGIN + "\n" + as_markdown(rows) + "\n\n" + END + rest.split(END)[1]


def main() -> int:
    """Print or write the table."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("parts", nargs="*", help=f"some of: {', '.join(PARTS)}; without any all")
    parser.add_argument("--markdown", action="store_true", help="print as Markdown")
    parser.add_argument("--write", action="store_true", help=f"write the whole table into {PAGE.name}")
    options = parser.parse_args()
    unknown = sorted(set(options.parts) - set(PARTS))
    if unknown or (options.write and options.parts):
        print(f"parts are {', '.join(PARTS)}; --write takes all of them", file=sys.stderr)
        return 2
    rows = table(options.parts)
    if options.write:
        PAGE.write_text(written(PAGE.read_text(encoding="utf-8"), rows), encoding="utf-8")
        return 0
    print(as_markdown(rows) if options.markdown else as_text(rows))
    print("\nFigures: bias / mean absolute error / root mean square error, answer minus measured, in K unless marked.")
    return 0


if __name__ == "__main__":
    sys.exit(main())
