"""The programme page: one HTML file that holds a whole run."""
