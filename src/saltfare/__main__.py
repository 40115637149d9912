"""`python -m saltfare` is the command line."""

from saltfare.faces.cli import main

main(prog_name="saltfare")
