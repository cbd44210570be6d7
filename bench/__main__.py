"""Time what must be quick: ``python -m bench`` runs every case, ``python -m bench evening`` one.

A case is a module ``*_case.py`` beside this one with a function `main` that prints what it measured. Nothing here is a
test: times depend on the machine, so each case names it.
"""

from __future__ import annotations

import importlib
import sys
from pathlib import Path


def main(names: list[str]) -> int:
    """Run the named cases, or all."""
    cases = sorted(path.stem for path in Path(__file__).parent.glob("*_case.py"))
    names = [name if name in cases else f"{name}_case" for name in names]
    unknown = sorted(set(names) - set(cases))
    if unknown:
        print(f"no case named {', '.join(unknown)}; there are: {', '.join(cases)}", file=sys.stderr)
        return 2
    for name in names or cases:
        case = importlib.import_module(f"bench.{name}")
        print(f"\n{name}: {(case.__doc__ or '').splitlines()[0]}", flush=True)
        case.main()
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
