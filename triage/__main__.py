"""`python -m triage` is the same as `triage`."""

from triage.cli import main

main()
