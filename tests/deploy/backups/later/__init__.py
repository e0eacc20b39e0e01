"""An app of a later version, with steps that work, that fail half-way, and that are killed half-way."""
