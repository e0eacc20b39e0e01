"""Backups of a site: `making.py` writes one, `archive.py` knows its form, `outcomes.py` keeps how it went."""
