"""The program's first step: interrupts are heard before anything that takes a while is imported."""

from __future__ import annotations

from kitwright.cli.ending import hear


def main() -> None:
    """Run the command ``kitwright``."""
    hear()
    from kitwright.cli.main import main as run

    run()


if __name__ == "__main__":
    main()
