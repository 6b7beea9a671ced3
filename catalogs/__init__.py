"""Catalogues and plans: files in, parts and plans out, every fault with its file and line."""

from kitwright.catalogs.load import load
from kitwright.catalogs.overrides import Overrides
from kitwright.catalogs.plan_file import load_asked, load_plan, read_plan
from kitwright.catalogs.problems import InputError, Problem
from kitwright.catalogs.template import lay_starter

__all__ = ["InputError", "Overrides", "Problem", "lay_starter", "load", "load_asked", "load_plan", "read_plan"]
