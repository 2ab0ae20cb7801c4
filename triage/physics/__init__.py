"""Pure functions of building physics and climate: no files, no settings."""
