"""``python -m fruitwall.cli``."""

from fruitwall.cli import main

main()
