"""The program's first step: interrupts are heard before anything that takes a while is imported."""

from __future__ import annotations

from kitwright.cli.ending import hear, leave


def main() -> None:
    """Run the command ``kitwright``, and end the process."""
    hear()
    from kitwright.cli.main import main as run

    try:
        run()
    except SystemExit as end:
        if end.code is not None and not isinstance(end.code, int):
            raise
        leave(end.code or 0)
    leave(0)


if __name__ == "__main__":
    main()
