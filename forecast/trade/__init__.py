"""What the trade and the law say: landed cost, customs rules as dated data, take-off, currency."""
