"""Hostile input by the thousand: ``python -m tests.fuzz SECONDS``; every case comes out of its seed alone."""
