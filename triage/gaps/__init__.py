"""What to ask next: which answer, and which repair, would release which homes."""
