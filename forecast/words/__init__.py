"""What every room says and reads alike: currencies, their minor units and reference rates, and written numbers."""
