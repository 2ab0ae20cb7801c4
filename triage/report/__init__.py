"""Workbooks, maps, homes for mapping programs, and words on the terminal."""
