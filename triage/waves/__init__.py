"""A wave of inspections of foamed roofs: drawn from a run, written out to be done and recorded."""
