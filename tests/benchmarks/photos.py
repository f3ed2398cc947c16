"""What share of photographed receipts is read right: ``python -m tests.benchmarks.photos [--json] [--count N]``.

The receipts are of invented shops in five countries' ways of writing, printed and photographed by rendering: a turned
and skewed sheet, half of it in shade, blur, noise, JPEG. Creases, faded print and handwriting are not among them, so a
garage will see less. Needs the extra photos. A day that can mean two is asked for: it counts as asked, not as wrong.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections import Counter

from forecast.ledger.papers.read import can_read_photos, read_paper
from tests.ledger.papers.photos import photo, receipt

WHAT = ("sum", "day", "currency", "supplier")


def main() -> int:
    """Read the photos and print how many were read right."""
    parser = argparse.ArgumentParser(description="what share of photographed receipts is read right")
    parser.add_argument("--count", type=int, default=30)
    parser.add_argument("--json", action="store_true")
    options = parser.parse_args()
    if not can_read_photos():
        print("The extra photos is not installed.", file=sys.stderr)
        return 2
    right: Counter[str] = Counter()
    wrong: list[str] = []
    seconds = 0.0
    for number in range(options.count):
        printed, content = receipt(number), photo(number)
        began = time.process_time()
        paper = read_paper("till.jpg", content, "EUR", ("GBP", "USD", "PLN"))
        seconds += time.process_time() - began
        found = [
            part.said if part else "" for part in (paper.amount, paper.day, paper.currency, paper.supplier)
        ]
        meant = [printed.amount, printed.day, printed.currency, printed.supplier]
        asked = printed.day in [day.isoformat() for day in paper.days]
        right["day asked"] += asked
        for what, one, other in zip(WHAT, found, meant, strict=True):
            right[what] += one == other
            if one != other and not (what == "day" and asked):
                wrong.append(f"{number}: {what} {one!r}, printed {other!r}")
        right["all four"] += found == meant
        right["all four, or the day asked"] += found == meant or (
            asked and found[::2] == meant[::2] and found[3] == meant[3]
        )
    told = {
        "photos": options.count,
        "right": dict(right),
        "wrong": wrong,
        "seconds of one core each": seconds / options.count,
    }
    if options.json:
        print(json.dumps(told, ensure_ascii=False, indent=2))
        return 0
    for what, count in right.items():
        print(f"{what:28} {count} of {options.count}")
    print(*wrong, sep="\n")
    print(f"{seconds / options.count:.1f} s of one core for each")
    return 0


if __name__ == "__main__":
    sys.exit(main())
