"""Commands of the command line, one module each; they import what they run when they run."""
