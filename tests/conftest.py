"""What all tests have in common."""

import os

# workers that run tests side by side set it: how wide a report is, a test says itself
os.environ.pop("COLUMNS", None)
