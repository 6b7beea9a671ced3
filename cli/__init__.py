"""The command line: typer commands, and reports in text, JSON, CSV and Markdown."""
