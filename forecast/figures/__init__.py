"""An uncertain figure: its kinds as the file says them, the shapes they stand for, units, and formulas over them."""
