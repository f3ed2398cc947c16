"""What the ledger makes known: re-forecast, history, what moved, and how payments are settled."""
