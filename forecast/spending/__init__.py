"""What has happened: the receipt ledger, imports, what is known, re-forecast, history."""
