"""Run the command line as ``python -m fleet``."""

from fleet.cli import main

main()
