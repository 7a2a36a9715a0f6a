"""What the steps of the small workflow share."""

import os
import time
from pathlib import Path


def write_slowly(path, text):
    """Write the first half, wait as long as MINI_DELAY_S says, then write the rest."""
    half = len(text) // 2
    with Path(path).open("w") as file:
        file.write(text[:half])
        file.flush()
        time.sleep(float(os.environ.get("MINI_DELAY_S", "0")))
        file.write(text[half:])


def sum_of(numbers):
    """Return the sum."""
    return sum(numbers)
