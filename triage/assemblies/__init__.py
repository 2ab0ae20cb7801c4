"""Survey fields and the proposed measure to the quantities that the rules name."""
