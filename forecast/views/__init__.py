"""How it is shown: charts, money and sentences, the command line."""
