"""What inspections teach: which roofs to open, what was found, and what it says of the others."""
