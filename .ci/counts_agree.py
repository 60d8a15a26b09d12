"""Compare what `coilcall analyze --json` counted with what really happened.

python3 counts_agree.py SUMMARY.json TRUTH.json
"""

import json
import sys
from collections import Counter
from pathlib import Path

OUTCOMES = ("acknowledged", "unacknowledged", "uncommanded", "unobserved")


def main(summary_file: str, truth_file: str) -> None:
    """Exit with a message where one count of one cylinder differs."""
    summary = json.loads(Path(summary_file).read_text(encoding="utf-8"))
    truth = json.loads(Path(truth_file).read_text(encoding="utf-8"))
    happened = Counter((firing["cylinder"], firing["expected"]) for firing in truth["firings"])
    rows = summary["cylinders"]
    counted = +Counter({(row["cylinder"], outcome): row[outcome] for row in rows for outcome in OUTCOMES})
    turns = sum(row["opportunities"] for row in rows)
    if not happened or counted != happened or turns != happened.total():
        sys.exit(f"{summary_file}: counted {turns} turns, {dict(counted)}; there were {dict(happened)}")
    sys.stdout.write(f"{summary['recording']}: {turns} turns, every count as it was\n")


if __name__ == "__main__":
    main(*sys.argv[1:])
