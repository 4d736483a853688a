"""``python -m cureplan``."""

from cureplan.cli import main

main()
