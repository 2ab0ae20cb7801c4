"""The parts of the script that writes the demonstration programmes."""
