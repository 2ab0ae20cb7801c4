"""Commands of the command line, grouped by what they work on; registered in `triage.cli`."""
