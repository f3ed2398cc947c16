"""Files in and out: read within bounds, written whole or not at all; CSV and XLSX as tables."""
