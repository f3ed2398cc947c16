"""What it means and what to do: contingency, sensitivity, measures, scenarios."""
