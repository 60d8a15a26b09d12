"""`coilcall`, but with sample files of a second: `python -m tests.bench.short_files log …`."""

from functools import partial

from acquire.recording import Rollover
from monitor import disk_terms
from monitor.cli import main

if __name__ == "__main__":
    setattr(disk_terms, "DiskTerms", partial(disk_terms.DiskTerms, rollover=Rollover(max_s=1.0)))  # noqa: B010
    main()
