"""Work orders: what a finished run asks of trades, surveyors and specialists, home by home."""
